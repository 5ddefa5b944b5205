"""What a charger under test did in a run, in a few numbers."""

from __future__ import annotations

from collections.abc import Mapping
from math import nan

import numpy as np
from attrs import frozen

from ctrl.charger import Conduct
from harness.charger.case import ChargerRun
from harness.run import Floats

HOUR_S = 3600.0


@frozen
class Extreme:
    """The greatest of a course.

    Attributes:
        v: how much, V; NaN where there was none.
        t: when, s; NaN where there was none.
    """

    v: float
    t: float


@frozen
class ChargerCourse:
    """What a charger did.

    Attributes:
        state_h: time in each state, h, by its word.
        above_request: the most that its set-point stood above the lowest request while it followed.
        over_request: the most that a pack read above what it asked for while it charged.
    """

    state_h: Mapping[str, float]
    above_request: Extreme
    over_request: Extreme


def charger_course(run: ChargerRun) -> ChargerCourse:
    """The few numbers of a run; a state that is entered at a sample lasts until the next one."""
    trace, state = run.case.trace, run.answers.state
    lasted_s = np.diff(trace.t, append=trace.t[-1:])
    charging = (run.answers.limit_a > 0.0) & (state != Conduct.STOPPED)
    asked_v = lowest_request(run)
    return ChargerCourse(
        state_h={
            conduct.word: float(lasted_s[state == conduct].sum()) / HOUR_S for conduct in Conduct
        },
        above_request=_greatest(
            trace.t, np.where(state == Conduct.FOLLOWING, above_request(run), nan)
        ),
        # Where a request is lowered the pack needs its time: only what rises after it is told.
        over_request=_greatest(trace.t, _over(run, np.where(charging, asked_v, nan))),
    )


def lowest_request(run: ChargerRun) -> Floats:
    """The lowest voltage asked for by the messages at each sample, V; NaN before there are any."""
    request_v = run.case.trace.request_v
    told = np.isfinite(request_v)
    lowest_v = np.where(told, request_v, np.inf).min(axis=1)
    return np.where(told.any(axis=1), lowest_v, nan)


def above_request(run: ChargerRun) -> Floats:
    """What the set-point lies above the lowest request, V: compensation, where it is settled."""
    return np.asarray(run.answers.set_point_v - lowest_request(run))


def above_request_at(run: ChargerRun, t: float) -> float:
    """The same at the last sample up to a moment, V; NaN before the first."""
    row = int(np.searchsorted(run.case.trace.t, t, side="right")) - 1
    return float(above_request(run)[row]) if row >= 0 else nan


def _over(run: ChargerRun, asked_v: Floats) -> Floats:
    read_v = np.where(np.isfinite(run.case.trace.pack_v), run.case.trace.pack_v, -np.inf).max(
        axis=1
    )
    over_v = np.where(np.isfinite(read_v), read_v - asked_v, nan)
    lowered = np.diff(asked_v, prepend=asked_v[:1]) < 0.0
    # A relaxing pack falls; from its request lowered on until it is there, nothing is its charger's.
    settling = False
    for row in range(len(over_v)):
        settling = (settling or bool(lowered[row])) and over_v[row] > 0.0
        if settling:
            over_v[row] = nan
    return over_v


def _greatest(t: Floats, course_v: Floats) -> Extreme:
    if not np.isfinite(course_v).any():
        return Extreme(nan, nan)
    row = int(np.nanargmax(course_v))
    return Extreme(float(course_v[row]), float(t[row]))
