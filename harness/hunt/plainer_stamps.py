"""Plainer stamps: from 0 on, in whole seconds, at intervals that are easy to read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from harness.hunt.edit import STAMP_DIGITS, intervals, with_column
from harness.run import Floats

if TYPE_CHECKING:
    from harness.hunt.reduce import Reducer

PLAIN_S = (1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 100.0)


def plainer_stamps(reducer: Reducer) -> None:
    """Move the stamps to 0, round them, and try plainer intervals one by one."""
    t = reducer.case.trace.t
    known = t[np.isfinite(t)]
    if len(known):
        for start in (known[0], np.min(known), np.floor(known[0])):
            reducer.offer(_with(reducer.case, t - start))
    for digits in (0, 1, 2, 3):
        if reducer.offer(_with(reducer.case, np.round(reducer.case.trace.t, digits))):
            break
    _without_missing(reducer)
    for k in range(len(reducer.case.trace) - 1, 0, -1):
        dt = float(intervals(reducer.case.trace.t)[k])
        plain = [step for step in PLAIN_S if step < abs(dt)]
        rounded = [round(dt, digits) for digits in (-2, -1, 0, 1, 2)]
        for step in (*(plain if dt > 0 else [PLAIN_S[0], *(-s for s in plain)]), *rounded):
            if step != dt and reducer.offer(_moved(reducer.case, k, step - dt)):
                break


def _without_missing(reducer: Reducer) -> None:
    """Give a stamp to each row that has none."""
    for k in np.flatnonzero(~np.isfinite(reducer.case.trace.t)).tolist():
        t = reducer.case.trace.t.copy()
        around = [x for x in t[max(k - 1, 0) : k + 2].tolist() if np.isfinite(x)]
        if around:
            t[k] = sum(around) / len(around) if k else around[0]
            reducer.offer(_with(reducer.case, t))


def _moved(case: Any, k: int, by_s: float) -> Any:
    """The case with the stamps from row `k` on moved."""
    t = case.trace.t.copy()
    t[k:] += by_s
    return _with(case, t)


def _with(case: Any, t: Floats) -> Any:
    return with_column(case, "t", np.round(t, STAMP_DIGITS))
