"""What blocks charging, and when it lets go.

A cause trips when its condition has held for `trip_dwell_s`, each by a dwell of its own that runs
on through every stage. A reading that is absent makes any condition false: it neither trips
nor clears. The dwell of the release is the dwell of the stage `inhibited`.
"""

from __future__ import annotations

from math import inf, isfinite, nan

from ctrl.limits import Limits
from ctrl.state import NEVER, Sample, Watch
from ctrl.vocabulary import Tripped

CELL_VOLTAGE = int(Tripped.CELL_VOLTAGE)
TEMPERATURE = int(Tripped.TEMPERATURE)
NO_READING = int(Tripped.NO_READING)


def present(reading: float) -> float:
    """The reading, or NaN when it is not finite: every comparison with it is then false."""
    return reading if isfinite(reading) else nan


def hottest_c(sample: Sample) -> float:
    """The hottest reading: `temp_c` stands for both where there is no other, degrees C."""
    return sample.temp_max_c if isfinite(sample.temp_max_c) else present(sample.temp_c)


def since(holds: bool, t: float, joined: bool, before_s: float) -> float:
    """Since when a condition holds without interruption; a break in time starts it anew."""
    if not holds:
        return NEVER
    return before_s if joined and before_s < NEVER else t


def watched(limits: Limits, watch: Watch, sample: Sample, joined: bool) -> Watch:
    """Every dwell that runs across stages, one sample on; trips and the empty reset included."""
    t = sample.t
    cell_high = present(sample.cell_max_v) >= limits.cell_limit_v
    cell_since_s = since(cell_high, t, joined, watch.cell_since_s)
    outside = (
        present(sample.temp_c) < limits.charge_min_c or hottest_c(sample) > limits.charge_max_c
    )
    temperature_since_s = since(outside, t, joined, watch.temperature_since_s)
    tripped = watch.tripped
    if t - cell_since_s >= limits.trip_dwell_s:
        tripped |= CELL_VOLTAGE
    if t - temperature_since_s >= limits.trip_dwell_s:
        tripped |= TEMPERATURE
    low = sample.v <= limits.empty_v
    empty_since_s = since(low, t, joined, watch.empty_since_s)
    emptied = low and (watch.emptied or t - empty_since_s >= limits.empty_dwell_s)
    quiet = not (low or tripped != 0 or cell_since_s < NEVER or temperature_since_s < NEVER)
    return Watch(
        cell_since_s,
        temperature_since_s,
        tripped,
        empty_since_s,
        emptied,
        quiet,
        watch.first_t,
        watch.shift_v,
        watch.sensor,
        watch.upkeep,
    )


def all_clear(limits: Limits, tripped: int, sample: Sample) -> bool:
    """Whether every tripped cause is clear at this valid sample."""
    if tripped & CELL_VOLTAGE and not present(sample.cell_max_v) <= limits.cell_release_v:
        return False
    if tripped & TEMPERATURE:
        cold_c = present(sample.temp_c)
        if limits.charge_min_c > -inf and not cold_c >= limits.release_min_c:
            return False
        if limits.charge_max_c < inf and not hottest_c(sample) <= limits.release_max_c:
            return False
    return True


def let_go(watch: Watch) -> Watch:
    """Nothing is tripped any more; dwells that run go on."""
    return Watch(
        watch.cell_since_s,
        watch.temperature_since_s,
        0,
        watch.empty_since_s,
        watch.emptied,
        False,
        watch.first_t,
        watch.shift_v,
        watch.sensor,
        watch.upkeep,
    )
