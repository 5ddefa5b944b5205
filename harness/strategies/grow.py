"""Traces from whole numbers: segments expanded to samples, the reference asked at every one of them.

The reference goes along because a segment aims at its next decision (`harness.strategies.aims`).
So its answers come for free, and a controller's answers can be compared with them at once.

What goes wrong on the way: sampling that jitters, stamps that repeat or step back, gaps and the
longest interval that is none, readings that are missing, not finite or beyond belief, dips of one
sample, ramps, currents that change sign, losses of power.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, inf, isfinite, nan
from typing import Any

import numpy as np
import numpy.typing as npt

from ctrl.compiled import step_parts
from ctrl.limits import Limits
from ctrl.settings import Settings
from ctrl.state import FULL_RESET
from harness.run import OPTIONAL_COLUMNS, Answers, Case, Floats, Trace
from harness.strategies import aims, choices, limits_row
from harness.strategies.aims import (
    AFTER_GAP,
    BULK,
    COMFORT_C,
    COMFORT_CELL_V,
    SAMPLES,
    UNREADABLE,
    Aim,
    aim,
    keeping_v,
)
from harness.strategies.choices import (
    CHOICES,
    HEAD_CHOICES,
    MOST_SAMPLES,
    SEGMENT_CHOICES,
    Head,
    Segment,
)
from harness.strategies.limits_row import limits_from, powered_up, reset_rule, row_of
from harness.world import compiling
from harness.world.compiling import kernel, part

Numbers = npt.NDArray[np.int64]

_PARTS = step_parts()
_decide, _sample = _PARTS.decide, _PARTS.sample

# Compiled code takes plain numbers.
STAMP, CHARGE, COLUMNS = (int(each) for each in Head)
DEED, BESIDE, LENGTH, INTERVAL, CURRENT, AROUND, ODDITY, TWIST = (int(each) for each in Segment)
# What is chosen among; the plainest first.
STAMPS_S = (0.0, 0.0, 1_700_000_000.0, 4_294_950.0, -7.5, 1e6 + 1 / 3, 0.1)
CHARGES = (0.5, 0.5, 0.9, 0.985, 0.0, 1.0, 0.02, 0.97, 0.9)
BEHIND = (3, 2, 0, -1, 1, 4, -2, 2, 6, -3, 0, 3)
INTERVALS_S = (1.0, 1.0, 0.5, 1.0, 2.0, 0.25, 1.0, 0.1, 5.0, 1.0)
CURRENTS_A = (10.0, 0.0, 30.0, 3.0, -20.0, 0.5, 80.0, -3.0)
ALTERNATING, LOWEST, HIGHEST = 13, 14, 15
# Where a stamp in floating point is no longer exact to the slack with which times compare.
FAR_S, VERY_FAR_S = 1e6, 1e8
# A segment longer than so many samples is sampled more seldom, as far as continuity allows.
MANY_SAMPLES = 36
# In what way a segment is odd, from this choice on; the first ones come twice as often.
FIRST_ODDITY = 36
ODDITIES = 16
(
    POWER_LOST_WITHIN, GAP, BACK, UNREAD, DIP, RAMP, REPEATED, HOVER, ABSENT, NO_STAMP, POWER_LOST,
    OTHER_TEMPERATURE, JITTER, INFINITE, BEYOND_BELIEF, LONGEST_INTERVAL,
) = range(ODDITIES)  # fmt: skip
# Rows of the arrays of samples, and of those of the reference's answers.
T, V, A, CELL, COLD, HOT = range(6)
STAGE, SOC, RESET, VOLTS, AMPS = range(5)


@part
def oddity(choice: int) -> int:
    """What is odd about a segment; -1 for nothing."""
    return (choice - FIRST_ODDITY) % ODDITIES if choice >= FIRST_ODDITY else -1


@part
def longest_s(limits: Limits, clock_s: float) -> float:
    """The longest interval that is continuous, s; far from zero, where stamps are coarse, less."""
    # Without the slack that the limit has been given.
    gap_s = float(np.rint(1e6 * limits.max_gap_s)) / 1e6
    return gap_s if abs(clock_s) < FAR_S else gap_s - 2e-3


@part
def surroundings(limits: Limits, choice: int, before: Aim, stage: int) -> Aim:
    """Cell voltage and temperatures that stay while something else happens."""
    cell_v, temp_c, hot_c = before.cell_v, before.temp_c, before.hot_c
    pick = choice % 32
    if pick < 12:
        cell_v, temp_c, hot_c = COMFORT_CELL_V, COMFORT_C, nan
    elif pick == 12:
        cell_v = nan
    elif pick == 13:
        temp_c = nan
    elif pick == 14:
        hot_c = temp_c + 2.0
    elif pick == 15 and limits.cell_limit_v < inf:
        cell_v = limits.cell_limit_v - 1e-3
    elif pick == 16 and limits.charge_min_c > -inf:
        temp_c = limits.charge_min_c
    elif pick == 17 and limits.charge_max_c < inf:
        temp_c, hot_c = COMFORT_C, limits.charge_max_c
    elif pick == 18:
        temp_c = 5.0
    elif pick == 19:
        temp_c, hot_c = 29.0, nan
    return Aim(keeping_v(limits, stage), nan, cell_v, temp_c, hot_c, 3.0, True, SAMPLES)


@part
def sampling(longest_s: float, to: Aim, choice: int, length: int) -> tuple[float, int]:
    """Sampling interval (s) and number of samples of a segment."""
    interval_s = min(INTERVALS_S[choice % len(INTERVALS_S)], longest_s)
    wait_s = min(to.wait_s, 1e6)
    if to.kind == UNREADABLE:
        return 0.5 * longest_s, 1 + length % 4
    if wait_s / interval_s > MANY_SAMPLES:
        interval_s = min(float(ceil(wait_s / MANY_SAMPLES)), longest_s)
    # The slack that the limits have taken off must not round up to one sample more.
    count = ceil(wait_s / interval_s - 1e-7) + (1 if to.dwells else 0)
    if length >= CHOICES - 8:
        count = count // 2
    else:
        count += BEHIND[length % len(BEHIND)]
    return interval_s, min(max(count, 1), 130)


@part
def current(limits: Limits, to: Aim, choice: int, k: int) -> float:
    """The current of sample `k` of a segment, A."""
    if isfinite(to.current_a):
        return to.current_a
    pick = choice % 16
    if pick == LOWEST:
        return limits.low_i
    if pick == HIGHEST:
        return limits.high_i
    if pick == ALTERNATING:
        return 12.0 if k % 2 == 0 else -7.0
    return CURRENTS_A[pick % len(CURRENTS_A)]


@part
def interval_at(
    longest_s: float, odd: int, twist: int, k: int, at: int, interval_s: float
) -> float:
    """The distance of sample `k` from the one before, s."""
    if odd == JITTER:
        return interval_s * (1.0 + 0.08 * ((k * 5 + twist) % 7 - 3))
    if k != at:
        return interval_s
    if odd == REPEATED:
        return 0.0
    if odd == LONGEST_INTERVAL:
        return longest_s
    if odd == GAP:
        return longest_s + (0.5 if twist % 2 else 600.0)
    if odd == BACK:
        pick = twist % 5
        if pick == 0:
            return -0.5
        if pick == 1:
            return -50.0
        if pick == 2:
            return -1e-10
        return -4_294_967.296 if pick == 3 else -65.536
    return interval_s


@part
def beyond_belief(limits: Limits, v: float, i: float, twist: int) -> tuple[float, float]:
    """The voltage or the current a little outside its bounds."""
    pick = twist % 4
    if pick == 0:
        return limits.high_v + 1e-3, i
    if pick == 1:
        return v, limits.low_i - 0.25
    if pick == 2:
        return v, limits.high_i + 0.25
    return limits.low_v - 1e-3, i


@part
def grow_one(
    limits: Limits,
    rule: Any,
    state: Any,
    head: Numbers,
    segments: Numbers,
    rows: Floats,
    said: Floats,
    cycles: Numbers,
) -> int:
    """Grow one trace; returns how many samples it has.

    Args:
        limits: of the reference.
        rule: its reset rule.
        state: its state before the first sample.
        head: choices of `Head`.
        segments: choices of `Segment`; shape (segments, SEGMENT_CHOICES).
        rows: room for the samples, shape (6, MOST_SAMPLES).
        said: room for the answers of the reference, shape (5, MOST_SAMPLES).
        cycles: 1 where power is lost just before the sample, shape (MOST_SAMPLES,).
    """
    clock_s = STAMPS_S[head[STAMP] % len(STAMPS_S)]
    around = Aim(0.0, nan, COMFORT_CELL_V, COMFORT_C, nan, 3.0, True, SAMPLES)
    last_v = keeping_v(limits, BULK)
    row = 0
    for s in range(segments.shape[0]):
        chosen = segments[s]
        odd = oddity(chosen[ODDITY])
        twist = chosen[TWIST]
        around = surroundings(limits, chosen[AROUND], around, state.charge.stage.value)
        to = aim(limits, state, chosen[DEED], chosen[BESIDE], around)
        unbroken_s = longest_s(limits, clock_s)
        interval_s, count = sampling(unbroken_s, to, chosen[INTERVAL], chosen[LENGTH])
        at = twist % count
        if odd in (DIP, GAP, BACK, POWER_LOST_WITHIN):
            if twist >= CHOICES // 2:
                at = max(count - 1 - twist % 3, 0)
            # Whatever began before may have to begin anew, and shall have the time for it.
            count += at
        for k in range(count):
            if row == MOST_SAMPLES:
                return row
            if k == 0 and to.kind == AFTER_GAP:
                clock_s += unbroken_s * (1.0 + 0.25 * (twist % 4)) + 0.5
            elif row > 0:
                clock_s += interval_at(unbroken_s, odd, twist, k, at, interval_s)
            if abs(clock_s) > VERY_FAR_S:
                # There a clock of milliseconds would see other intervals than one of floating point.
                clock_s = np.rint(8.0 * clock_s) / 8.0
            level_v = to.level_v
            if odd == RAMP:
                level_v = last_v + (to.level_v - last_v) * (k + 1) / count
            elif odd == HOVER:
                level_v += 1e-3 * (k % 2)
            elif odd == DIP and k == at:
                level_v -= 0.3 if twist % 2 else 2e-3
            temp_c, hot_c, cell_v = to.temp_c, to.hot_c, to.cell_v
            if odd == OTHER_TEMPERATURE and k >= at:
                temp_c += 6.0
            if k == at and odd == ABSENT:
                if twist % 2:
                    cell_v = nan
                else:
                    temp_c, hot_c = nan, nan
            elif k == at and odd == INFINITE:
                cell_v, temp_c = inf, -inf
            shift_v = state.watch.shift_v
            if limits.compensation_v_per_c != 0.0 and isfinite(temp_c) and twist % 8:
                # Most of the time the voltage follows, and stays beside its threshold.
                shift_v = limits.compensation_v_per_c * (temp_c - limits.reference_c)
            v, i = level_v + shift_v, current(limits, to, chosen[CURRENT], k)
            if to.kind == UNREADABLE or (k == at and odd == UNREAD):
                v, i = (nan, i) if twist % 2 else (v, nan)
            elif k == at and odd == BEYOND_BELIEF:
                v, i = beyond_belief(limits, v, i, twist)
            lost = (odd == POWER_LOST and k == 0) or (odd == POWER_LOST_WITHIN and k == at)
            cycles[row] = 1 if lost and row > 0 else 0
            if cycles[row]:
                state = powered_up(state.soc)
            stamp_s = clock_s
            if odd == NO_STAMP and k == at:
                stamp_s = nan if twist % 4 else inf
            state, output = _decide(
                limits, rule, state, _sample(stamp_s, v, i, cell_v, temp_c, hot_c)
            )
            rows[T, row], rows[V, row], rows[A, row] = stamp_s, v, i
            rows[CELL, row], rows[COLD, row], rows[HOT, row] = cell_v, temp_c, hot_c
            said[STAGE, row], said[SOC, row] = output.stage.value, output.soc
            said[RESET, row] = 1.0 if output.news & FULL_RESET else 0.0
            said[VOLTS, row], said[AMPS, row] = output.asked.voltage_v, output.asked.current_a
            row += 1
        last_v = to.level_v
    return row


@kernel(*_PARTS.sources, compiling, aims, choices, limits_row, __file__)
def grow_all(
    row: Floats,
    starting: Floats,
    heads: Numbers,
    segments: Numbers,
    used: Numbers,
    rows: Floats,
    said: Floats,
    cycles: Numbers,
    counts: Numbers,
) -> None:
    """Grow several traces for the same settings; the arrays have one more dimension in front.

    Args:
        row: the settings, as `row_of` gives them.
        starting: states of charge.
        heads: as in `grow_one`, and so the others.
        segments: choices of each segment.
        used: how many segments each trace has.
        rows: room for the samples.
        said: room for the answers.
        cycles: room for the losses of power.
        counts: room for the number of samples of each trace.
    """
    limits, rule = limits_from(row), reset_rule()
    for k in range(len(used)):
        counts[k] = grow_one(
            limits,
            rule,
            powered_up(starting[k]),
            heads[k],
            segments[k, : used[k]],
            rows[k],
            said[k],
            cycles[k],
        )


def grown(
    names: Sequence[str],
    settings: Settings,
    heads: Numbers,
    segments: Numbers,
    used: Numbers,
    *,
    power_cycles: bool = True,
) -> list[tuple[Case, Answers]]:
    """Cases for the same settings, each with the reference's answers.

    Args:
        names: id of each case.
        settings: of all of them.
        heads: choices of `Head`, 0 or more; shape (cases, HEAD_CHOICES).
        segments: choices of `Segment`, 0 or more; shape (cases, segments, SEGMENT_CHOICES).
        used: how many segments each case has; shape (cases,).
        power_cycles: whether power may be lost; otherwise those samples are like others.

    Raises:
        ValueError: shapes that do not fit, or a choice out of range.
    """
    number = len(names)
    if (
        heads.shape != (number, HEAD_CHOICES)
        or segments.shape[::2] != (number, SEGMENT_CHOICES)
        or used.shape != (number,)
    ):
        raise ValueError(f"choices of the shapes {heads.shape}, {segments.shape}, {used.shape}")
    if number and (
        min(heads.min(), segments.min(initial=0), used.min()) < 0
        or max(heads.max(), segments.max(initial=0)) >= CHOICES
        or used.max() > segments.shape[1]
    ):
        raise ValueError(f"choices must be 0 or more and less than {CHOICES}")
    if not power_cycles:
        odd = (segments[:, :, ODDITY] - FIRST_ODDITY) % ODDITIES
        lost = (odd == POWER_LOST) | (odd == POWER_LOST_WITHIN)
        segments = segments.copy()
        segments[:, :, ODDITY][lost] = 0
    starting = np.array([CHARGES[k] for k in heads[:, CHARGE] % len(CHARGES)])
    rows, said = np.empty((number, 6, MOST_SAMPLES)), np.empty((number, 5, MOST_SAMPLES))
    cycles, counts = np.empty((number, MOST_SAMPLES), np.int64), np.empty(number, np.int64)
    grow_all(row_of(settings), starting, heads, segments, used, rows, said, cycles, counts)
    return [
        _case(
            names[k], settings, float(starting[k]), int(heads[k, COLUMNS]),
            rows[k, :, : counts[k]], said[k, :, : counts[k]], cycles[k, : counts[k]],
        )
        for k in range(number)
    ]  # fmt: skip


def _case(
    name: str,
    settings: Settings,
    soc: float,
    columns: int,
    rows: Floats,
    said: Floats,
    cycles: Numbers,
) -> tuple[Case, Answers]:
    # A column that never says anything is left out; every other time, that is.
    silent = columns % 2 == 0
    optional = {
        name: row
        for name, row in zip(OPTIONAL_COLUMNS, rows[CELL:], strict=True)
        if not (silent and np.isnan(row).all())
    }
    case = Case(
        id=name,
        settings=settings,
        trace=Trace(rows[T], rows[V], rows[A], **optional),
        soc=soc,
        power_cycles=tuple(np.flatnonzero(cycles).tolist()),
    )
    answers = Answers(
        stage=said[STAGE].astype(np.int8),
        soc=said[SOC],
        full_reset=said[RESET] > 0.0,
        voltage_request_v=said[VOLTS],
        current_request_a=said[AMPS],
    )
    return case, answers
