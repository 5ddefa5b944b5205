"""One pack on one day: how far the charge came, in numbers."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from attrs import define, evolve

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.explain.days import Day
from harness.explain.ruled import Happening, Ruled
from harness.explain.wiring import Between
from harness.logs.log import Indices
from harness.run import Flags, Floats, Stages, Trace

# The charger stands at its set-point while it is at most so far under the highest of the day, V.
AT_SET_POINT_V = 0.03


@define(eq=False, slots=False)
class ChargeDay:
    """One pack on one day.

    Attributes:
        ruled: the pack.
        day: the day.
        between: what lies between the charger and the pack, over the whole log; None where the
            charger's voltage is not in the log.
        start: first row of the day.
        stop: row behind the last.
    """

    ruled: Ruled
    day: Day
    between: Between | None
    start: int
    stop: int

    @property
    def settings(self) -> Settings:
        """The settings of the pack."""
        return self.ruled.settings

    @property
    def trace(self) -> Trace:
        """The readings of the day."""
        return self.ruled.log.trace.part(self.start, self.stop)

    @property
    def level_v(self) -> Floats:
        """The voltage as thresholds see it."""
        return self.ruled.level_v[self.start : self.stop]

    @cached_property
    def happened(self) -> tuple[Happening, ...]:
        """What happened by the rules; rows count from the beginning of the day."""
        return tuple(
            evolve(each, row=each.row - self.start)
            for each in self.ruled.within(self.start, self.stop)
        )

    def rows_of(self, *names: str) -> list[int]:
        """The rows of the day at which these happened."""
        return [each.row for each in self.happened if each.event.name in names]

    @property
    def recorded_stage(self) -> Stages | None:
        """What the controller said of its stage that day; None where the log does not say."""
        stage = self.ruled.log.stage
        return None if stage is None else stage[self.start : self.stop]

    @cached_property
    def recorded_resets(self) -> Indices | None:
        """The rows of the day at which the log says full reset; None where it does not say.

        Without such a column a controller that never went from absorption to float has had none.
        """
        flags, stage = self.ruled.log.full_reset, self.recorded_stage
        if flags is not None:
            return np.flatnonzero(flags[self.start : self.stop])
        if stage is None or ((stage[:-1] == Stage.ABSORPTION) & (stage[1:] == Stage.FLOAT)).any():
            return None
        return np.empty(0, np.intp)

    @cached_property
    def valid(self) -> Flags:
        """The rows that can be believed."""
        trace, s = self.trace, self.settings
        low_v, high_v = s.plausible_v
        low_a, high_a = s.plausible_i
        valid: Flags = (
            np.isfinite(trace.t)
            & (trace.v >= low_v)
            & (trace.v <= high_v)
            & (trace.i >= low_a)
            & (trace.i <= high_a)
        )
        return valid

    @cached_property
    def peak(self) -> int:
        """The row of the highest voltage; -1 where no row can be believed."""
        if not self.valid.any():
            return -1
        return int(np.argmax(np.where(self.valid, self.level_v, -np.inf)))

    @property
    def peak_v(self) -> float:
        """That voltage."""
        return float(self.level_v[self.peak]) if self.peak >= 0 else float("nan")

    def longest(self, level_v: float) -> tuple[float, int, int]:
        """The longest stretch at or above a level: its length in s, its first and its last row."""
        above = self.valid & (self.level_v >= level_v)
        edges = np.flatnonzero(np.diff(np.concatenate(([False], above, [False])).astype(np.int8)))
        firsts, lasts = edges[::2], edges[1::2] - 1
        if not len(firsts):
            return 0.0, -1, -1
        t = self.trace.t
        lengths = t[lasts] - t[firsts]
        best = int(np.argmax(lengths))
        return float(lengths[best]), int(firsts[best]), int(lasts[best])

    def touches(self, level_v: float) -> int:
        """How often the voltage came to a level from below."""
        above = self.valid & (self.level_v >= level_v)
        return int(np.count_nonzero(above[1:] & ~above[:-1]))

    @cached_property
    def charger_v(self) -> Floats | None:
        """The charger's voltage of the day; None where the log does not have it."""
        column = self.ruled.log.charger_v
        return None if column is None else column[self.start : self.stop]

    @cached_property
    def set_point_v(self) -> float:
        """The highest voltage at which the charger stood for a while, V; NaN where it is not known."""
        if self.charger_v is None:
            return float("nan")
        finite = self.charger_v[np.isfinite(self.charger_v)]
        # Its own meter scatters: the very highest reading is not where it stood.
        return float(np.quantile(finite, 0.995)) if len(finite) else float("nan")

    @cached_property
    def at_set_point_s(self) -> float:
        """How long the charger stood there, s."""
        if self.charger_v is None or not np.isfinite(self.set_point_v):
            return float("nan")
        there = self.charger_v >= self.set_point_v - AT_SET_POINT_V
        return float(np.count_nonzero(there)) * self.interval_s

    @cached_property
    def interval_s(self) -> float:
        """The usual distance of two rows, s."""
        apart_s = np.diff(self.trace.t)
        apart_s = apart_s[np.isfinite(apart_s) & (apart_s > 0)]
        return float(np.median(apart_s)) if len(apart_s) else 1.0

    def enters_float(self) -> list[int]:
        """The rows at which the controller entered float: as recorded, or else by the rules."""
        stage = self.ruled.log.stage
        if stage is None:
            stage = self.ruled.stage
        part = stage[self.start : self.stop]
        return [
            int(k) + 1
            for k in np.flatnonzero((part[1:] == Stage.FLOAT) & (part[:-1] != Stage.FLOAT))
        ]

    def stamp(self, row: int) -> float:
        """The stamp of a row of the day, s."""
        return float(self.trace.t[row])

    def row_at(self, t: float) -> int:
        """The last row at or before a stamp; 0 where there is none."""
        before = np.flatnonzero(self.trace.t <= t)
        return int(before[-1]) if len(before) else 0
