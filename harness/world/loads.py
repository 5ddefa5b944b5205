"""What the house draws: a base load, appliances that are switched on at random, and set events.

Everything is drawn beforehand into the times at which the power changes and what it is from then
on. An inverter stands between the bus and the loads: it takes a constant power from the bus, to
0.1 %, and gives up when the bus is too low.
"""

from __future__ import annotations

from math import inf

import numpy as np
import numpy.typing as npt
from attrs import field, frozen
from attrs.validators import optional

from harness.errors import InputError
from harness.world.chance import stream_generator
from harness.world.checks import not_negative, number_within, positive, whole_within
from harness.world.compiling import part
from harness.world.daytime import DAY_S, seconds_of, time_of_day

Floats = npt.NDArray[np.float64]
LOADS_STREAM = 4


@frozen(kw_only=True)
class Appliance:
    """Something that is switched on at random.

    Attributes:
        name: what it is.
        power_w: what it draws, W.
        minutes: mean time that it stays on; each time is drawn between half and one and a half.
        per_day: how often a day it is switched on, on average.
        from_time: time of day from which it is used, `HH:MM`.
        to_time: time of day until which it is switched on, `HH:MM`.
    """

    name: str
    power_w: float = field(validator=positive("W"))
    minutes: float = field(validator=positive("min"))
    per_day: float = field(validator=number_within(0.0, 1000.0, "a day"))
    from_time: str = field(default="06:00", validator=time_of_day)
    to_time: str = field(default="22:00", validator=time_of_day)

    def __attrs_post_init__(self) -> None:
        if seconds_of(self.from_time) >= seconds_of(self.to_time):
            raise InputError(
                f"{self.name} is used from {self.from_time} to {self.to_time}",
                column="to_time",
                hint="a time of day after from_time",
            )


@frozen(kw_only=True)
class LoadEvent:
    """Something that is switched on at a set time.

    Attributes:
        name: what it is.
        power_w: what it draws, W.
        at: time of day, `HH:MM`.
        minutes: how long it stays on.
        day: on which day, from 0; None for every day.
    """

    name: str
    power_w: float = field(validator=positive("W"))
    at: str = field(validator=time_of_day)
    minutes: float = field(validator=positive("min"))
    day: int | None = field(default=None, validator=optional(whole_within(0, 100_000)))


@frozen(kw_only=True)
class Loads:
    """All that hangs on the bus.

    Attributes:
        base_w: what is always drawn, W.
        appliances: what is switched on at random.
        events: what is switched on at set times.
        efficiency: of the inverter: power of the loads over that from the bus.
        cut_off_v: bus voltage below which the inverter gives up, V; None for never.
        back_v: bus voltage at which it tries again, V.

    Raises:
        InputError: a value that no house has.
    """

    base_w: float = field(default=0.0, validator=not_negative("W"))
    appliances: tuple[Appliance, ...] = ()
    events: tuple[LoadEvent, ...] = ()
    efficiency: float = field(
        default=1.0, validator=number_within(0.0, 1.0, "(a fraction)", above_low=True)
    )
    cut_off_v: float | None = field(default=None, validator=optional(positive("V")))
    back_v: float | None = field(default=None, validator=optional(positive("V")))

    def __attrs_post_init__(self) -> None:
        if (self.cut_off_v is None) != (self.back_v is None):
            raise InputError(
                f"cut_off_v is {self.cut_off_v!r} and back_v is {self.back_v!r}",
                column="back_v",
                hint="both of them, or none",
            )
        cut_off_v, back_v = self.cut_off
        if back_v <= cut_off_v and self.cut_off_v is not None:
            raise InputError(f"back_v is {back_v!r}", column="back_v", hint="above cut_off_v")

    def course(self, start_s: float, duration_s: float, seed: int) -> tuple[Floats, Floats]:
        """When the power from the bus changes, s since the start, and what it is from then on, W.

        Args:
            start_s: the start, s since midnight of the first day.
            duration_s: how long is wanted, s.
            seed: of the random switching.
        """
        switched: list[tuple[float, float, float]] = []
        days = int((start_s + duration_s) // DAY_S) + 1
        for number, appliance in enumerate(self.appliances):
            switched += _switched(appliance, days, seed, number)
        for event in self.events:
            for day in range(days) if event.day is None else (event.day,):
                on_s = DAY_S * day + seconds_of(event.at)
                switched.append((on_s, on_s + 60.0 * event.minutes, event.power_w))
        changes = [(0.0, self.base_w)]
        for on_s, off_s, power_w in switched:
            if off_s > start_s and on_s < start_s + duration_s:
                changes.append((max(on_s - start_s, 0.0), power_w))
                changes.append((off_s - start_s, -power_w))
        changes.sort()
        times, steps_w = np.array(changes).T
        # What was added is taken off again; a trace of rounding must not remain below zero.
        total_w: Floats = np.maximum(np.cumsum(steps_w), 0.0) / self.efficiency
        return np.ascontiguousarray(times), total_w

    @property
    def cut_off(self) -> tuple[float, float]:
        """Voltages at which the inverter gives up and tries again, V; minus infinity for never."""
        if self.cut_off_v is None or self.back_v is None:
            return -inf, -inf
        return self.cut_off_v, self.back_v


def _switched(
    appliance: Appliance, days: int, seed: int, number: int
) -> list[tuple[float, float, float]]:
    """On, off (s since midnight of the first day) and power of one appliance."""
    draw = stream_generator(seed, LOADS_STREAM, number)
    from_s, to_s = seconds_of(appliance.from_time), seconds_of(appliance.to_time)
    uses = []
    for day in range(days):
        for on_s in np.sort(draw.uniform(from_s, to_s, draw.poisson(appliance.per_day))):
            length_s = 60.0 * appliance.minutes * draw.uniform(0.5, 1.5)
            start_s = DAY_S * day + float(on_s)
            uses.append((start_s, start_s + length_s, appliance.power_w))
    return uses


# Entries of the state of the loads: index of the change that was last, whether the inverter is off,
# what it draws, at which voltage and change.
CHANGE, GIVEN_UP, HELD_A, HELD_AT_V, HELD_CHANGE = range(5)
LOADS_STATE_ENTRIES = 5
# The current of a constant power is held while the bus stays this close: every change of a load makes
# the currents of all packs jump, which takes time to work out.
HELD_SHARE = 0.001


@part
def load_current(
    times: Floats, powers_w: Floats, cut_off: Floats, state: Floats, t: float, bus_v: float
) -> float:
    """What the loads draw from the bus in the step that begins now, A; compiled.

    Args:
        times: when the power changes, s.
        powers_w: what it is from then on, W.
        cut_off: voltages at which the inverter gives up and tries again, V.
        state: of the loads; changed in place.
        t: now, s.
        bus_v: voltage of the bus at the end of the step before, V.
    """
    k = int(state[CHANGE])
    while k + 1 < len(times) and times[k + 1] <= t:
        k += 1
    state[CHANGE] = k
    if bus_v < cut_off[0]:
        state[GIVEN_UP] = 1.0
    elif bus_v >= cut_off[1]:
        state[GIVEN_UP] = 0.0
    if state[GIVEN_UP] > 0.0 or bus_v <= 0.0:
        state[HELD_CHANGE] = -1.0
        return 0.0
    if state[HELD_CHANGE] != k or abs(bus_v - state[HELD_AT_V]) > HELD_SHARE * bus_v:
        state[HELD_A], state[HELD_AT_V], state[HELD_CHANGE] = powers_w[k] / bus_v, bus_v, k
    return float(state[HELD_A])
