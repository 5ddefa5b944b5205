"""A log in days: from one quiet hour to the next, so that no charge is cut in two."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from attrs import frozen

from harness.logs.log import Log
from harness.run import Floats

DAY_S = 86_400.0
HOUR_S = 3600.0


@frozen
class Day:
    """A part of the log, at most a day long.

    Attributes:
        number: from 1 on.
        start_s: stamp at which it begins, s.
        stop_s: stamp at which it ends, s.
    """

    number: int
    start_s: float
    stop_s: float

    def rows(self, t: Floats) -> tuple[int, int]:
        """The first row of a pack in it, and the row behind its last."""
        # A clock that stepped back has not changed the day, and the first row beyond an edge is it.
        later = np.flatnonzero(t >= self.start_s)
        start = int(later[0]) if len(later) else len(t)
        behind = np.flatnonzero(t >= self.stop_s)
        behind = behind[behind >= start]
        return start, int(behind[0]) if len(behind) else len(t)


def days_of(log: Log) -> list[Day]:
    """The days of a log; they begin at the hour at which the voltage is lowest over all days."""
    t = log.packs[0].trace.t
    finite = t[np.isfinite(t)]
    if not len(finite):
        return []
    first_s, last_s = float(finite.min()), float(finite.max())
    if last_s - first_s <= 1.25 * DAY_S:
        return [Day(1, first_s, last_s + 1.0)]
    edge_s = _quiet_s(t, log.packs[0].trace.v)
    edges = [first_s]
    next_s = first_s - (first_s - edge_s) % DAY_S + DAY_S
    while next_s < last_s:
        # A first or last piece too short for a charge goes with its neighbour.
        if next_s - edges[-1] > 6.0 * HOUR_S and last_s - next_s > 6.0 * HOUR_S:
            edges.append(next_s)
        next_s += DAY_S
    edges.append(last_s + 1.0)
    return [Day(k + 1, start, stop) for k, (start, stop) in enumerate(pairwise(edges))]


def _quiet_s(t: Floats, v: Floats) -> float:
    """The time of day, s after a multiple of a day, at which the voltage is lowest."""
    some = slice(None, None, max(1, len(t) // 200_000))
    t, v = t[some], v[some]
    whole = np.isfinite(t) & np.isfinite(v)
    hour = ((t[whole] % DAY_S) // HOUR_S).astype(np.int64)
    total = np.bincount(hour, v[whole], 24)
    count = np.bincount(hour, minlength=24)
    mean = np.where(count > 0, total / np.maximum(count, 1), np.inf)
    return float(np.argmin(mean)) * HOUR_S
