"""Traces from whole numbers: segments expanded to samples, the reference asked at every one of them.

The reference goes along because a segment aims at its next decision (`harness.strategies.aims`).
So its answers come for free, and a controller's answers can be compared with them at once.

What goes wrong on the way: sampling that jitters, stamps that repeat or step back, gaps and the
longest interval that is none, readings that are missing, not finite or beyond belief, dips of one
sample, ramps, currents that change sign, losses of power.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, isfinite, nan
from typing import Any

import numpy as np
import numpy.typing as npt

from ctrl.compiled import step_parts
from ctrl.limits import Limits
from ctrl.settings import Settings
from ctrl.state import FULL_RESET
from harness.run import OPTIONAL_COLUMNS, Answers, Case, Floats, Trace
from harness.strategies import aims, choices, limits_row, segment
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
from harness.strategies.segment import (
    ABSENT,
    BACK,
    BEYOND_BELIEF,
    DIP,
    FIRST_ODDITY,
    GAP,
    HOVER,
    INFINITE,
    NO_STAMP,
    ODDITIES,
    OTHER_TEMPERATURE,
    POWER_LOST,
    POWER_LOST_WITHIN,
    RAMP,
    UNREAD,
    beyond_belief,
    current,
    interval_at,
    longest_s,
    oddity,
    sampling,
    surroundings,
)
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
# Where a clock of milliseconds would see other intervals than one of floating point.
VERY_FAR_S = 1e8
# Rows of the arrays of samples, and of those of the reference's answers.
T, V, A, CELL, COLD, HOT = range(6)
STAGE, SOC, RESET, VOLTS, AMPS = range(5)


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
                clock_s = np.rint(8.0 * clock_s) / 8.0
            level_v = to.level_v
            if odd == RAMP:
                # In whole millivolts, as every other level: what counts in these loses nothing by it.
                level_v = last_v + (to.level_v - last_v) * (k + 1) / count
                level_v = np.rint(1e3 * level_v) / 1e3
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


@kernel(*_PARTS.sources, compiling, aims, choices, limits_row, segment, __file__)
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
