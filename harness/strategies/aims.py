"""Where a segment of a trace goes: what decision of the rules it is meant to bring about, or just miss.

What finds faults is *where* the ends of segments fall. So a segment aims at the reference's next
decision: its level lies some millivolts beside the threshold that decides, on either side, and it
ends a few samples before or behind the moment at which a dwell or timer runs out.

Compiled; `harness.strategies.grow` calls it once a segment.
"""

from __future__ import annotations

from math import inf, isfinite, nan
from typing import NamedTuple

from ctrl.limits import Limits
from ctrl.protection import CELL_VOLTAGE
from ctrl.state import NEVER, State
from ctrl.vocabulary import Phase, Stage
from harness.world.compiling import part

BULK, ABSORPTION, FLOAT = int(Stage.BULK), int(Stage.ABSORPTION), int(Stage.FLOAT)
HOLD = int(Phase.HOLD)

# Beside a threshold, in millivolts towards the side on which the decision falls.
BESIDE_MV = (
    20.0,
    0.0,
    1.0,
    5.0,
    -1.0,
    -5.0,
    -20.0,
    200.0,
    -200.0,
    2.0,
    -2.0,
    0.0,
    50.0,
    -50.0,
    5.0,
    -5.0,
)
# A temperature or current threshold is as much beside, in these units a millivolt.
C_PER_MV, A_PER_MV = 0.05, 0.05

# How a segment reaches the controller.
SAMPLES, UNREADABLE, AFTER_GAP = range(3)

COMFORT_CELL_V, COMFORT_C = 3.4, 20.0


class Aim(NamedTuple):
    """What a segment is to be.

    Attributes:
        level_v: pack voltage at the reference temperature, V.
        current_a: current, A; NaN leaves it to the choice of a current.
        cell_v: highest cell voltage, V.
        temp_c: coldest sensor, degrees C.
        hot_c: hottest sensor, degrees C.
        wait_s: how long until the decision, s, seen from the sample before the segment.
        dwells: the time counts only from the segment's first sample.
        kind: `SAMPLES`, `UNREADABLE` or `AFTER_GAP`.
    """

    level_v: float
    current_a: float
    cell_v: float
    temp_c: float
    hot_c: float
    wait_s: float
    dwells: bool
    kind: int


@part
def among(around: Aim, level_v: float, current_a: float, wait_s: float, dwells: bool) -> Aim:
    """Another voltage and current, with everything around as it is."""
    return Aim(
        level_v, current_a, around.cell_v, around.temp_c, around.hot_c, wait_s, dwells, SAMPLES
    )


@part
def _otherwise(around: Aim, wait_s: float, kind: int) -> Aim:
    """The same readings, reaching the controller in another way."""
    return Aim(around.level_v, nan, around.cell_v, around.temp_c, around.hot_c, wait_s, True, kind)


@part
def dwelt(since_s: float, t: float, dwell_s: float) -> tuple[float, bool]:
    """How long a dwell still takes, and whether it is yet to begin."""
    if since_s < NEVER and isfinite(t):
        return max(dwell_s - (t - since_s), 0.0), False
    return dwell_s, True


@part
def keeping_v(limits: Limits, stage: int) -> float:
    """A voltage at which the stage goes on as it would on a fair day."""
    if stage == BULK:
        return max(0.5 * (limits.return_v + limits.entry_v), limits.return_v)
    if stage == ABSORPTION:
        return limits.absorption_v
    return limits.float_v


@part
def in_bulk(limits: Limits, state: State, deed: int, off_v: float, around: Aim) -> Aim:
    """Enter the hold, or not quite."""
    if deed < 30:
        wait_s, dwells = dwelt(state.charge.dwell_since_s, state.t, limits.entry_dwell_s)
        return among(around, limits.entry_v + off_v, nan, wait_s, dwells)
    if deed < 36:
        return among(around, limits.entry_v - abs(off_v) - 1e-3, nan, 3.0, True)
    return around


@part
def in_hold(limits: Limits, state: State, deed: int, off_v: float, around: Aim) -> Aim:
    """Hold to the end, sag on the way, or end it at a low voltage."""
    charge = state.charge
    elapsed_s = charge.counted_s
    if charge.timer_from_s < NEVER:
        elapsed_s += state.t - charge.timer_from_s
    left_s = max(limits.hold_s - elapsed_s, 0.0)
    if deed < 18:
        level_v = max(limits.entry_v + off_v, limits.full_v)
        return among(around, level_v, nan, left_s, False)
    if deed < 26:
        return among(around, limits.sag_v - off_v, nan, 0.5 * left_s, False)
    if deed < 31:
        return among(around, limits.full_v + off_v, nan, left_s, False)
    if deed < 33:
        return among(around, limits.full_v - 0.5, -30.0, 0.25 * left_s, False)
    # Whatever is denied here enters float at its threshold.
    return among(around, limits.return_v - off_v, nan, left_s, False)


@part
def in_confirm(limits: Limits, state: State, deed: int, off_v: float, around: Aim) -> Aim:
    """Confirm, deny by voltage or by current, or wait."""
    charge = state.charge
    current_a = nan
    if limits.taper_a < inf:
        current_a = limits.taper_a - A_PER_MV * 1000.0 * off_v
        if deed % 2 == 1:
            current_a = -current_a
    if deed < 24:
        wait_s, dwells = dwelt(charge.dwell_since_s, state.t, limits.confirm_s)
        level_v = limits.full_v + (off_v if deed < 12 else abs(off_v))
        return among(around, level_v, current_a, wait_s, dwells)
    left_s = max(limits.wait_limit_s - (state.t - charge.expired_s), 0.0)
    if deed < 34:
        return among(around, limits.full_v - abs(off_v) - 1e-3, nan, left_s, False)
    # High enough, but the current is not: only the wait can end it.
    return among(around, limits.full_v + 0.1, current_a, left_s, False)


@part
def in_float(limits: Limits, state: State, deed: int, off_v: float, around: Aim) -> Aim:
    """Leave float by voltage, by count, or by its timer."""
    charge = state.charge
    timed = limits.float_s < inf
    if deed < (8 if timed else 16):
        wait_s, dwells = dwelt(charge.dwell_since_s, state.t, limits.return_dwell_s)
        return among(around, limits.return_v - off_v, nan, wait_s, dwells)
    if deed < 26:
        left_s = limits.float_s - (state.t - charge.timer_from_s)
        if not left_s < inf:
            left_s = 5.0
        return among(around, limits.float_v, nan, max(left_s, 0.0), False)
    if deed < 34 and limits.return_soc > -inf:
        # So much that the count crosses its threshold in some ten seconds.
        needed_a = (state.soc - limits.return_soc) / (10.0 * limits.soc_per_coulomb)
        current_a = -min(max(needed_a, 0.0) + 1.0, -0.99 * limits.low_i)
        return among(around, limits.float_v, current_a, 10.0, True)
    return among(around, limits.absorption_v, nan, limits.hold_s, False)


@part
def while_inhibited(limits: Limits, state: State, deed: int, off_v: float, around: Aim) -> Aim:
    """Let go, or not quite."""
    wait_s, dwells = dwelt(state.charge.dwell_since_s, state.t, limits.release_dwell_s)
    level_v = limits.entry_v if deed % 4 == 0 else limits.float_v
    cell_v, temp_c, hot_c = limits.cell_release_v, COMFORT_C, nan
    if deed < 20:
        # Only one of the causes hangs on a hair.
        if state.watch.tripped & CELL_VOLTAGE and deed % 2 == 0:
            cell_v -= off_v
        elif limits.charge_min_c > -inf and deed % 3 == 0:
            temp_c = limits.release_min_c + C_PER_MV * 1000.0 * off_v
        elif limits.charge_max_c < inf and deed % 3 == 1:
            hot_c = limits.release_max_c - C_PER_MV * 1000.0 * off_v
    elif deed < 26:
        return among(around, level_v, nan, wait_s, dwells)
    elif deed < 30:
        cell_v = nan
    elif deed < 34:
        temp_c = nan
    return Aim(level_v, nan, cell_v, temp_c, hot_c, wait_s, dwells, SAMPLES)


@part
def anywhere(limits: Limits, state: State, deed: int, off_v: float, around: Aim) -> Aim:
    """What can happen in every stage."""
    watch = state.watch
    if deed < 45:
        wait_s, dwells = dwelt(watch.empty_since_s, state.t, limits.empty_dwell_s)
        level_v = limits.empty_v if limits.empty_v > -inf else limits.return_v - 1.0
        return among(around, level_v - off_v, -20.0 if deed % 2 == 0 else 20.0, wait_s, dwells)
    if deed < 50 and limits.cell_limit_v < inf:
        wait_s, dwells = dwelt(watch.cell_since_s, state.t, limits.trip_dwell_s)
        cell_v = limits.cell_limit_v + off_v
        return Aim(
            around.level_v, nan, cell_v, around.temp_c, around.hot_c, wait_s, dwells, SAMPLES
        )
    if deed < 55:
        wait_s, dwells = dwelt(watch.temperature_since_s, state.t, limits.trip_dwell_s)
        cold_c, hot_c = around.temp_c, around.hot_c
        off_c = C_PER_MV * 1000.0 * off_v
        if deed < 52 and limits.charge_min_c > -inf:
            cold_c = limits.charge_min_c - off_c
        elif limits.charge_max_c < inf and deed == 53:
            cold_c, hot_c = limits.charge_max_c + off_c, nan
        elif limits.charge_max_c < inf:
            hot_c = limits.charge_max_c + off_c
        return Aim(around.level_v, nan, around.cell_v, cold_c, hot_c, wait_s, dwells, SAMPLES)
    if deed < 58:
        return _otherwise(around, limits.max_gap_s, UNREADABLE)
    if deed < 60:
        return _otherwise(around, 2.0, AFTER_GAP)
    if deed == 60:
        # At the end of what can be believed, on either side.
        return among(around, limits.low_v + off_v, 5.0, 5.0, True)
    # Far up or down with the count.
    current_a = 0.9 * (limits.high_i if deed < 63 else limits.low_i)
    return among(around, keeping_v(limits, BULK), current_a, 10.0, True)


@part
def aim(limits: Limits, state: State, deed: int, beside: int, around: Aim) -> Aim:
    """What the next segment is to be.

    Args:
        limits: of the reference.
        state: of the reference, before the segment.
        deed: the choice of `Segment.DEED`.
        beside: the choice of `Segment.BESIDE`.
        around: the readings that stay as they are, at a voltage at which nothing happens.
    """
    off_v = 1e-3 * BESIDE_MV[beside % len(BESIDE_MV)]
    if deed >= 40:
        return anywhere(limits, state, deed, off_v, around)
    if deed >= 36:
        return around
    stage = state.charge.stage.value
    if stage == BULK:
        return in_bulk(limits, state, deed, off_v, around)
    if stage == FLOAT:
        return in_float(limits, state, deed, off_v, around)
    if stage == ABSORPTION:
        if state.charge.phase.value == HOLD:
            return in_hold(limits, state, deed, off_v, around)
        return in_confirm(limits, state, deed, off_v, around)
    return while_inhibited(limits, state, deed, off_v, around)
