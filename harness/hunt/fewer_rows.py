"""Fewer rows: what the reducer tries first, because it makes every later try faster."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import evolve

from harness.hunt.edit import PLACES, Mask, kept, with_column
from harness.run import OPTIONAL_COLUMNS, Case, Run, Stages

if TYPE_CHECKING:
    from harness.hunt.reduce import Reducer

# From here on a first guess at the rows that matter saves many runs.
MANY_ROWS = 16


def extras(reducer: Reducer) -> None:
    """Leave out optional columns, cuts, losses of power, requests: all of them, then each."""
    reducer.offer(_without_columns(reducer.case, reducer.case.trace.columns))
    between = [name for name in PLACES if hasattr(reducer.case, name)]
    for name in reversed(between):
        reducer.offer(evolve(reducer.case, **{name: ()}))
    for name in OPTIONAL_COLUMNS:
        reducer.offer(_without_columns(reducer.case, (name,)))
    for name in between:
        if name != "cuts":
            for k in getattr(reducer.case, name):
                left = tuple(other for other in getattr(reducer.case, name) if other != k)
                reducer.offer(evolve(reducer.case, **{name: left}))
    # Of many cuts the ones at the end matter as a rule, if any.
    for k in reducer.case.cuts:
        left = tuple(other for other in reducer.case.cuts if other != k)
        if len(reducer.case.cuts) <= MANY_ROWS or k == reducer.case.cuts[len(left) // 2]:
            reducer.offer(evolve(reducer.case, cuts=left))


def _without_columns(case: Any, names: tuple[str, ...]) -> Any:
    for name in names:
        if name in OPTIONAL_COLUMNS and name in case.trace.columns:
            case = with_column(case, name, None)
    return case


def fewer_rows(reducer: Reducer) -> None:
    """Take rows out, in blocks that get smaller, with the time closed up and with stamps kept."""
    if len(reducer.case.trace) > MANY_ROWS:
        _guess(reducer)
    # One row more than half: the first block is all rows but the last few.
    block = max(len(reducer.case.trace) // 2, 1)
    while True:
        while _without_blocks(reducer, block):
            pass
        if block == 1:
            return
        block //= 2


def _guess(reducer: Reducer) -> None:
    """Keep the rows in which something happens, and what a gap needs between them."""
    count = len(reducer.case.trace)
    marks = reducer.edits.marks(reducer.case, reducer.shown.run)
    marks[0] = marks[min(max(reducer.shown.finding.index, 0), count - 1)] = True
    for k in (
        *reducer.case.power_cycles,
        *getattr(reducer.case, "equalise_requests", ()),
    ):
        marks[max(k - 1, 0) : k + 1] = True
    for reach in (0, 1):
        reducer.offer(kept(reducer.case, _bridged(reducer.case, around(marks, reach))))
        if len(reducer.case.trace) != count:
            return


def controller_marks(case: Case, run: Run | None) -> Mask:
    """The rows around changes of stage, and around those of readings."""
    trace, limits = case.trace, case.settings
    marks = np.zeros(len(trace), np.bool_)
    if run is not None:
        stages: Stages = run.answers.stage
        marks |= around(changed(stages), 2)
    levels = (limits.entry_v, limits.full_v, limits.return_v, limits.sag_v, limits.empty_v)
    for level in levels:
        if level is not None:
            marks |= around(changed(trace.v >= level), 1)
    return marks


def changed(values: Any) -> Mask:
    """The rows that differ from the one before; shape of one value a row."""
    differs: Mask = np.concatenate([[False], values[1:] != values[:-1]])
    return differs


def around(marks: Mask, reach: int) -> Mask:
    """The rows that are marked, and so many on either side."""
    wider = marks.copy()
    for step in range(1, reach + 1):
        wider[step:] |= marks[:-step]
        wider[:-step] |= marks[step:]
    return wider


def _bridged(case: Any, marks: Mask) -> Mask:
    """The marked rows, and so many between them that no new gap comes about."""
    t, longest_s = case.trace.t, case.settings.max_gap_s
    keep, last = marks.copy(), 0
    for k in range(1, len(t)):
        if not t[k] - t[last] <= longest_s:
            keep[k - 1] = True
            last = k - 1
        if keep[k]:
            last = k
    return keep


def _without_blocks(reducer: Reducer, block: int) -> bool:
    """Try to take out each block of so many rows, from the end; whether any went."""
    went = False
    stop = len(reducer.case.trace)
    while stop > 0:
        start = max(stop - block, 0)
        count = len(reducer.case.trace)
        if stop <= count and stop - start < count:
            keep = np.ones(count, np.bool_)
            keep[start:stop] = False
            for closed_up in (True, False):
                if reducer.offer(kept(reducer.case, keep, closed_up=closed_up)):
                    went = True
                    break
        stop = start
    return went
