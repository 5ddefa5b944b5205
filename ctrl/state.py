"""What goes into a step and what comes out of it.

To make a frozen object costs more than all the comparisons of a quiet sample, and each of its fields
adds to that. So what changes rarely sits in objects of its own, which a step hands on as they are.
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
class Request:
    """What is asked of the charger.

    Attributes:
        voltage_v: voltage, V.
        current_a: current, A.
    """

    voltage_v: float
    current_a: float


@frozen
class Charge:
    """Where the charge stands.

    Attributes:
        stage: the stage.
        phase: the phase of absorption.
        dwell_since_s: since when the dwell condition of this stage or phase holds: entry in bulk,
            confirmation in absorption, low voltage in float, all clear in inhibited, no charging
            current in equalisation.
        timer_from_s: start of the stretch that the timer of the stage counts; `NEVER` if halted.
        counted_s: what the hold timer had counted before that stretch, s.
        expired_s: when the hold expired; in equalisation since when it has been too warm for it, or
            the temperature unknown; else `NEVER`.
    """

    stage: Stage
    phase: Phase
    dwell_since_s: float
    timer_from_s: float
    counted_s: float
    expired_s: float


@frozen
class Sensor:
    """What is remembered of the temperature by which the pack voltages shift.

    Attributes:
        temp_c: the last reading that was believed, degrees C; NaN before there was one.
        read_s: when it was read, s.
        changed_s: when it last changed, s.
    """

    temp_c: float
    read_s: float
    changed_s: float


@frozen
class Upkeep:
    """When the next equalisation is due.

    Attributes:
        from_s: since when the schedule counts: the end of the last one, or the first valid sample
            since power-up, s; NaN before that.
        requested: whether one has been asked for, and has not been completed since.
        not_before_s: none starts before this, because one was abandoned, s.
    """

    from_s: float
    requested: bool
    not_before_s: float


@frozen
class Watch:
    """What runs across stage changes: protection, the empty rule, temperature, and what is due.

    Attributes:
        cell_since_s: since when a cell is at its limit.
        temperature_since_s: since when the temperature is outside its limits.
        tripped: the causes that hold charging back, `Tripped` as a number.
        empty_since_s: since when the voltage is at or below `empty_v`.
        emptied: the count was set to 0, and the voltage has not been above `empty_v` since.
        quiet: none of the above is running; lets a step pass all of it by.
        first_t: stamp of the first sample since power-up, if it was invalid, s; else `NEVER`.
        shift_v: present shift of the pack voltages with temperature, V.
        sensor: where that shift comes from.
        upkeep: when the next equalisation is due.
    """

    cell_since_s: float
    temperature_since_s: float
    tripped: int
    empty_since_s: float
    emptied: bool
    quiet: bool
    first_t: float
    shift_v: float
    sensor: Sensor
    upkeep: Upkeep


@frozen
class State:
    """Everything that a controller remembers between samples.

    Attributes:
        soc: state of charge, 0..1; the only part that survives a loss of power.
        t: stamp of the last valid sample since power-up, s; NaN before there was one.
        i: current of that sample, A.
        charge: where the charge stands.
        watch: protection, the empty rule, and the shift with temperature.
    """

    soc: float
    t: float
    i: float
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


@frozen
class Output:
    """What a controller says after a sample.

    Attributes:
        stage: the stage after the step.
        soc: state of charge, 0..1.
        asked: what is asked of the charger.
        news: what happened, as one number; `events` spells it out. 0 for nothing.
    """

    stage: Stage
    soc: float
    asked: Request
    news: int

    @property
    def full_reset(self) -> bool:
        """True only on the sample of a full reset."""
        return self.news & FULL_RESET != 0

    @property
    def voltage_request_v(self) -> float:
        """Voltage asked of the charger, V."""
        return self.asked.voltage_v

    @property
    def current_request_a(self) -> float:
        """Current asked of the charger, A."""
        return self.asked.current_a

    @property
    def events(self) -> tuple[Event, ...]:
        """What happened at this sample."""
        return events_of(self.news, self.stage)


# News are flags of `Happened`, above them a `Cause`, above that the stage before the sample.
CAUSE_SHIFT = 12
STAGE_SHIFT = 16
HAPPENED_BITS = (1 << CAUSE_SHIFT) - 1
CAUSE_BITS = (1 << STAGE_SHIFT - CAUSE_SHIFT) - 1
_WITH_CAUSE = (
    Happened.INHIBITED
    | Happened.HOLD_ABANDONED
    | Happened.FLOAT_ENDED
    | Happened.EQUALISATION_STARTED
    | Happened.EQUALISATION_ABANDONED
)


def numbered(happened: int, cause: int, from_stage: Stage) -> int:
    """The news of one sample as one number."""
    return happened | cause << CAUSE_SHIFT | from_stage << STAGE_SHIFT


def events_of(news: int, to_stage: Stage) -> tuple[Event, ...]:
    """The events behind the news of one sample, in the order in which they came about."""
    happened = Happened(news & HAPPENED_BITS)
    cause, from_stage = Cause(news >> CAUSE_SHIFT & CAUSE_BITS), Stage(news >> STAGE_SHIFT)
    return tuple(
        Event(
            str(flag.name).lower(), cause.word if flag in _WITH_CAUSE else "", from_stage, to_stage
        )
        for flag in happened
    )


# As a plain number: the flag itself is slow to compare with.
FULL_RESET = int(Happened.FULL_RESET)

UNREAD = Sample(nan, nan, nan)
NO_SENSOR = Sensor(nan, NEVER, NEVER)
NOTHING_DUE = Upkeep(nan, False, -inf)
QUIET = Watch(NEVER, NEVER, 0, NEVER, False, True, NEVER, 0.0, NO_SENSOR, NOTHING_DUE)
AT_POWER_UP = Charge(Stage.BULK, Phase.NONE, NEVER, NEVER, 0.0, NEVER)


def powered_up(soc: float) -> State:
    """The state after power-up: only the count is kept.

    Raises:
        ValueError: `soc` is not a fraction 0..1.
    """
    if not (isfinite(soc) and 0.0 <= soc <= 1.0):
        raise ValueError(f"the starting state of charge is {soc!r}; it must be a fraction 0..1")
    return State(float(soc), nan, nan, AT_POWER_UP, QUIET)
