"""A pack over the whole log: readings, stages beside those by the rules, and what happened."""

from __future__ import annotations

from math import isfinite

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.explain.explained import Explained
from harness.explain.reason import Cause, Reason
from harness.explain.ruled import Ruled
from harness.report.drawing import Drawing, Moment
from harness.report.explained_lines import counted, current, lanes, symbols, voltage
from harness.report.explained_rows import Along, positions, thinned
from harness.report.panels import LEAST_V

# So many samples has a line at most.
MOST_SAMPLES = 2_800
# Stages that differ for less are the same: a log is written a moment later than it is decided.
SAME_S = 10.0
LEVELS = ("entry_v", "full_v", "return_v")


def timeline(
    explained: Explained, ruled: Ruled, along: Along, reason: Reason, most: int = MOST_SAMPLES
) -> Drawing | None:
    """The picture; None where no row has a stamp.

    Args:
        explained: the log.
        ruled: the pack.
        along: where its rows stand.
        reason: what is said of it; its day is shown in more detail than the others.
        most: how many samples are drawn at most.
    """
    log = ruled.log
    if not len(along.known):
        return None
    columns = [ruled.level_v, log.trace.i]
    if log.charger_v is not None:
        columns.append(log.charger_v)
    wide = reason.cause is Cause.DRIFTED_COUNTER and log.soc is not None
    if wide and log.soc is not None:
        columns.append(log.soc)
    day = next(day for day in explained.days if day.number == reason.day)
    gap_s = max(2.0 * ruled.settings.max_gap_s, 3.0 * along.step_s)
    row = along.row(reason.t) if isfinite(reason.t) else 0
    rows = thinned(
        along, columns, first=0, behind=len(log), most=most,
        closer=day.rows(log.trace.t), kept=(row,), gap_s=gap_s,
    )  # fmt: skip
    x = positions(along, rows)
    at = int(np.argmin(np.abs(x - along.at(row))))
    panels = [voltage(ruled, rows, LEVELS, LEAST_V), current(ruled, rows)]
    count = counted(ruled, rows) if wide else None
    moments = [Moment(along.at(k), "soft", "power lost") for k in log.restarts[:50]]
    if isfinite(reason.t):
        moments.append(Moment(along.at(row), "here"))
    return Drawing(
        label=f"{ruled.name} over the whole log",
        x=x,
        steps=along.steps,
        at=at,
        near=None,
        panels=tuple(panels if count is None else [*panels, count]),
        lanes=lanes(ruled, along, 0, len(log)),
        symbols=symbols(ruled, along, 0, len(log), row),
        moments=tuple(moments),
    )


@frozen
class Parting:
    """Where the log and the rules first go different ways.

    Attributes:
        t: when, s since the first row of the log.
        length_s: for how long, s.
        logged: the stage that the log says.
        ruled: the stage by the rules.
    """

    t: float
    length_s: float
    logged: str
    ruled: str


def parting(ruled: Ruled, along: Along) -> Parting | None:
    """Where they first part for longer than a moment; None where they never do."""
    if ruled.log.stage is None or not len(along.known):
        return None
    differ = ruled.log.stage[along.known] != ruled.stage[along.known]
    edges = np.flatnonzero(np.diff(np.concatenate(([False], differ, [False])).astype(np.int8)))
    x = np.append(along.at_known, along.at_known[-1] + along.step_s)
    lengths_s = x[edges[1::2]] - x[edges[::2]]
    long = np.flatnonzero(lengths_s > max(SAME_S, 2.0 * along.step_s))
    if not len(long):
        return None
    k = int(long[0])
    row = along.known[edges[2 * k]]
    logged, rules = Stage(ruled.log.stage[row]).word, Stage(ruled.stage[row]).word
    return Parting(float(ruled.log.trace.t[row]), float(lengths_s[k]), logged, rules)
