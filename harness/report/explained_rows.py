"""Which rows of a long log a picture shows, and where they stand from left to right."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise

import numpy as np
from attrs import define

from harness.logs.log import Indices
from harness.run import Floats

# So many gaps of a log are drawn as gaps, the longest.
MOST_GAPS = 100
BLANK = -1


@define(eq=False, slots=False)
class Along:
    """The rows of a pack in their order, also where its clock was set back.

    Attributes:
        t: stamps, s since the first row of the log; NaN where there is none; shape (rows,).
        offset_s: what is added to every position, s, so that round positions are round times.
    """

    t: Floats
    offset_s: float = 0.0

    @cached_property
    def known(self) -> Indices:
        """The rows that have a stamp."""
        rows: Indices = np.flatnonzero(np.isfinite(self.t))
        return rows

    @cached_property
    def step_s(self) -> float:
        """The usual distance of two rows, s."""
        apart_s = np.diff(self.t[self.known])
        apart_s = apart_s[apart_s > 0]
        return float(np.median(apart_s)) if len(apart_s) else 1.0

    @cached_property
    def _apart_s(self) -> Floats:
        apart_s: Floats = np.diff(self.t[self.known])
        return apart_s

    @cached_property
    def steps(self) -> tuple[tuple[float, float], ...]:
        """From which position on how much has to be taken off to come to a stamp, s."""
        back = np.flatnonzero(self._apart_s < 0)
        behind = self.step_s - self._apart_s[back]
        return tuple(
            (float(self.at_known[k + 1]), float(total))
            for k, total in zip(back.tolist(), np.cumsum(behind).tolist(), strict=True)
        )

    @cached_property
    def at_known(self) -> Floats:
        """The position of each row that has a stamp; they never fall."""
        t = self.t[self.known] + self.offset_s
        back = self._apart_s < 0
        if not back.any():
            return t
        # A clock that was set back has not undone what was: the rows go on from left to right.
        behind = np.where(back, self.step_s - self._apart_s, 0.0)
        at: Floats = t + np.concatenate(([0.0], np.cumsum(behind)))
        return at

    def at(self, row: int) -> float:
        """The position of a row, or of the next one that has a stamp."""
        k = min(int(np.searchsorted(self.known, row)), len(self.known) - 1)
        return float(self.at_known[k])

    def stamp(self, position: float) -> float:
        """The stamp that belongs to a position, s."""
        behind = [total for start, total in self.steps if start <= position]
        return position - self.offset_s - (behind[-1] if behind else 0.0)

    def row(self, t: float) -> int:
        """The row that bears a stamp, or the next; the first one where a clock showed it twice."""
        same = np.flatnonzero(self.t == t)
        if len(same):
            return int(same[0])
        later = np.flatnonzero(self.t >= t)
        return int(later[0]) if len(later) else int(self.known[-1])

    def between(self, first: int, behind: int) -> tuple[int, int]:
        """Where the rows from one up to another stand among those that have a stamp."""
        low, high = np.searchsorted(self.known, (first, behind))
        return int(low), int(high)


def thinned(
    along: Along,
    columns: Sequence[Floats],
    *,
    first: int,
    behind: int,
    most: int,
    closer: tuple[int, int] | None = None,
    kept: Sequence[int] = (),
    gap_s: float = np.inf,
) -> Indices:
    """Some rows that look as all of them do: the lowest and highest of each of many stretches.

    Args:
        along: where the rows stand.
        columns: what is drawn of them; shape (rows,) each.
        first: first row of what is shown.
        behind: row behind the last.
        most: how many rows are wanted at most.
        closer: first row and row behind the last of a part that is worth half of them: all of it
            is taken where it has no more.
        kept: rows that are taken in any case, where they have a stamp.
        gap_s: a longer interval is a gap, s: a `BLANK` stands for it.

    Returns:
        Rows in their order, at most `most` of them, `BLANK` at each gap; all rows where they are
        few enough.
    """
    low, high = along.between(first, behind)
    x, known = along.at_known[low:high], along.known[low:high]
    gaps = np.flatnonzero(np.diff(x) > gap_s)
    if len(gaps) > MOST_GAPS:
        longest = np.argsort(-np.diff(x)[gaps], kind="stable")[:MOST_GAPS]
        gaps = np.sort(gaps[longest])
    if len(known) + len(gaps) <= most:
        chosen = np.arange(len(known))
    else:
        asked = np.flatnonzero(np.isin(known, kept))
        must = np.unique(np.concatenate(([0, len(known) - 1], gaps, gaps + 1, asked)))
        a, b = 0, 0
        if closer is not None:
            a, b = (int(k) - low for k in along.between(*closer))
        if 0 < b - a <= most // 2:
            must = np.union1d(must, np.arange(a, b))
            a, b = 0, 0
        room = max((most - len(gaps) - len(must)) // (2 * len(columns)), 1)
        parts = [(0, len(x), room)]
        if 0 < b - a < len(x):
            parts = [(0, len(x), room - room // 2), (a, b, room // 2)]
        shown = [each[known] for each in columns]
        ends = [_extremes(x, shown, start, stop, number) for start, stop, number in parts]
        chosen = np.unique(np.concatenate([must, *ends]))
    rows = known[chosen]
    return np.insert(rows, np.searchsorted(chosen, gaps, side="right"), BLANK)


def _extremes(x: Floats, columns: Sequence[Floats], first: int, behind: int, count: int) -> Indices:
    """The lowest and the highest of each column in each of so many stretches of the same length."""
    edges = np.searchsorted(x, np.linspace(x[first], x[behind - 1], count + 1))
    edges[-1] = behind
    found: list[int] = []
    for values in columns:
        missing = np.isnan(values)
        low, high = np.where(missing, np.inf, values), np.where(missing, -np.inf, values)
        for start, stop in pairwise(edges.tolist()):
            if stop > start:
                found.append(start + int(np.argmin(low[start:stop])))
                found.append(start + int(np.argmax(high[start:stop])))
    return np.array(found, np.intp)


def taken(values: Floats, rows: Indices) -> Floats:
    """The values of these rows; NaN at each `BLANK`."""
    return np.where(rows == BLANK, np.nan, values[np.maximum(rows, 0)])


def positions(along: Along, rows: Indices) -> Floats:
    """Where these rows stand; a `BLANK` just behind the row before it."""
    behind = np.searchsorted(along.known, np.maximum(rows, 0))
    x = along.at_known[np.minimum(behind, len(along.known) - 1)]
    for k in np.flatnonzero(rows == BLANK).tolist():
        x[k] = 0.5 * (x[k - 1] + x[k + 1])
    return x
