"""What goes into a step and what comes out of it.

The parts of the state that change rarely sit in objects of their own, which a step hands on as
they are; only the count, the stamp and the current are new at every sample.
"""

from __future__ import annotations

from math import inf, isfinite, nan

from attrs import frozen

from ctrl.vocabulary import Cause, Happened, Phase, Stage

# A dwell that is not running began at no time.
NEVER = inf


@frozen
class Sample:
    """One reading of the pack's own meters.

    A reading that is missing is NaN; a `t`, `v` or `i` that is not finite makes the sample invalid.

    Attributes:
        t: time stamp, s.
        v: pack terminal voltage, V.
        i: current, A, positive while charging.
        cell_max_v: highest cell voltage, V.
        temp_c: coldest cell sensor, degrees C.
        temp_max_c: hottest cell sensor, degrees C; where it is missing `temp_c` stands for both.
    """

    t: float
    v: float
    i: float
    cell_max_v: float = nan
    temp_c: float = nan
    temp_max_c: float = nan

    @classmethod
    def of(cls, *readings: float | None) -> Sample:
        """A sample whose missing readings are None, in the order of the attributes."""
        return cls(*(nan if reading is None else float(reading) for reading in readings))


@frozen
class Charge:
    """Where the charge stands.

    Attributes:
        stage: the stage.
        phase: the phase of absorption.
        dwell_since_s: since when the dwell condition of this stage or phase holds: entry in bulk,
            confirmation in absorption, low voltage in float, all clear in inhibited.
        timer_from_s: start of the stretch that the hold or float timer counts; `NEVER` if halted.
        counted_s: what the hold timer had counted before that stretch, s.
        expired_s: when the hold expired; `NEVER` before.
    """

    stage: Stage
    phase: Phase
    dwell_since_s: float
    timer_from_s: float
    counted_s: float
    expired_s: float


@frozen
class Watch:
    """What runs across stage changes: protection and the empty rule.

    Attributes:
        cell_since_s: since when a cell is at its limit.
        temperature_since_s: since when the temperature is outside its limits.
        tripped: the causes that hold charging back, `Tripped` as a number.
        empty_since_s: since when the voltage is at or below `empty_v`.
        emptied: the count was set to 0, and the voltage has not been above `empty_v` since.
        quiet: none of the above is running; lets a step pass all of it by.
    """

    cell_since_s: float
    temperature_since_s: float
    tripped: int
    empty_since_s: float
    emptied: bool
    quiet: bool


@frozen
class State:
    """Everything that a controller remembers between samples.

    Attributes:
        soc: state of charge, 0..1; the only part that survives a loss of power.
        t: stamp of the last valid sample since power-up, s; NaN before there was one.
        i: current of that sample, A.
        first_t: stamp of the first sample since power-up, if it was invalid, s; else `NEVER`.
        shift_v: present shift of the pack voltages with temperature, V.
        charge: where the charge stands.
        watch: protection and the empty rule.
    """

    soc: float
    t: float
    i: float
    first_t: float
    shift_v: float
    charge: Charge
    watch: Watch


@frozen
class Event:
    """One thing that happened at a sample.

    Attributes:
        name: what happened, such as `hold_started`.
        cause: why, where the name does not say it, such as `low_voltage`; else empty.
        from_stage: the stage before the sample.
        to_stage: the stage after it.
    """

    name: str
    cause: str
    from_stage: Stage
    to_stage: Stage


def events_of(happened: int, cause: int, from_stage: Stage, to_stage: Stage) -> tuple[Event, ...]:
    """The events behind the flags of one sample, in the order in which they came about."""
    return tuple(
        Event(
            flag.name.lower(), Cause(cause).word if flag in _WITH_CAUSE else "", from_stage, to_stage
        )
        for flag in Happened
        if happened & flag and flag.name
    )


_WITH_CAUSE = Happened.INHIBITED | Happened.HOLD_ABANDONED | Happened.FLOAT_ENDED


@frozen
class Output:
    """What a controller says after a sample.

    Attributes:
        stage: the stage after the step.
        soc: state of charge, 0..1.
        voltage_request_v: voltage asked of the charger, V.
        current_request_a: current asked of the charger, A.
        happened: `Happened` as a number.
        cause: why the stage was left.
        from_stage: the stage before the step.
    """

    stage: Stage
    soc: float
    voltage_request_v: float
    current_request_a: float
    happened: int
    cause: int
    from_stage: Stage

    @property
    def full_reset(self) -> bool:
        """True only on the sample of a full reset."""
        return bool(self.happened & Happened.FULL_RESET)

    @property
    def events(self) -> tuple[Event, ...]:
        """What happened at this sample."""
        return events_of(self.happened, self.cause, self.from_stage, self.stage)


QUIET = Watch(NEVER, NEVER, 0, NEVER, False, True)
AT_POWER_UP = Charge(Stage.BULK, Phase.NONE, NEVER, NEVER, 0.0, NEVER)


def powered_up(soc: float) -> State:
    """The state after power-up: only the count is kept.

    Raises:
        ValueError: `soc` is not a fraction 0..1.
    """
    if not (isfinite(soc) and 0.0 <= soc <= 1.0):
        raise ValueError(f"the starting state of charge is {soc!r}; it must be a fraction 0..1")
    return State(float(soc), nan, nan, NEVER, 0.0, AT_POWER_UP, QUIET)
