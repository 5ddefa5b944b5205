"""The evidence: one life of a controller, from power-up to power-down, as arrays.

A check never runs a controller of its own beside the one under test. It follows the stages that the
controller reports, and asks at each of its decisions, and at each moment at which it should have
taken one, whether the signals since its last change of stage justify it.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from attrs import frozen

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.rules.held import TIME_SLACK_S, Held, Indices
from harness.rules.sensor import Shifts, shifts_of
from harness.run import Flags, Floats, Run, Stages, Trace

# Where a threshold is computed, by temperature compensation, a reading this near may go either way.
COMPUTED_V = 1e-6


@frozen
class Episode:
    """A stretch of rows over which the controller reports one stage.

    Attributes:
        stage: that stage.
        rows: first row, and the row behind the last.
        start: index, among the valid samples, of the first one of it.
        stop: index of the first valid sample behind it.
        came_from: the stage before; None at power-up.
        to: the stage after; None where the run ends.
        left_on_valid: the first row of the stage after is a valid sample.
    """

    stage: Stage
    rows: tuple[int, int]
    start: int
    stop: int
    came_from: Stage | None
    to: Stage | None
    left_on_valid: bool

    @property
    def last(self) -> int:
        """The last valid sample that its rules see: the one that it is left on, where it is valid."""
        return self.stop if self.left_on_valid else self.stop - 1


class Life:
    """One life: rows of the run between two power cycles, and what follows from them.

    "Row" counts the rows of this life, "sample" its valid samples; they are the same where every
    row is valid.

    Attributes:
        settings: the settings in force.
        claims: the features that the controller claims.
        first_row: the row of the whole run with which this life begins.
        after_power_cycle: whether it begins with a loss of power.
        soc_before: the count that it starts from; None where it is not known.
        stage_before: the last stage before the loss of power.
        request_rows: the rows before which somebody asked for an equalisation.
        asked_before: whether somebody did in an earlier life.
        tolerance_s: declared tolerance of the controller's clock, s.
    """

    def __init__(
        self,
        run: Run,
        start: int,
        stop: int,
        *,
        after_power_cycle: bool,
        soc_before: float | None,
        tolerance_s: float,
    ) -> None:
        answers = run.answers
        self.settings: Settings = run.case.settings
        self.claims = run.identity.features
        self.trace: Trace = run.case.trace.part(start, stop)
        self.first_row = start
        self.after_power_cycle = after_power_cycle
        self.stage_before = Stage(answers.stage[start - 1]) if after_power_cycle else None
        self.soc_before = soc_before
        self.tolerance_s = tolerance_s
        asked_at = run.case.equalise_requests
        self.request_rows = sorted({k - start for k in asked_at if start <= k < stop})
        self.asked_before = any(k < start for k in asked_at)
        self.row_stage: Stages = answers.stage[start:stop]
        self.row_soc = _part(answers.soc, start, stop) if "soc" in self.claims else None
        self.row_reset: Flags | None = (
            None
            if answers.full_reset is None or "full_reset" not in self.claims
            else answers.full_reset[start:stop]
        )
        asked = "requests" in self.claims
        self.row_voltage_request_v = _part(answers.voltage_request_v, start, stop, asked)
        self.row_current_request_a = _part(answers.current_request_a, start, stop, asked)

    def row_t(self, row: int) -> float:
        """The time stamp of a row, s."""
        return float(self.trace.t[row])

    @cached_property
    def valid_rows(self) -> Indices | None:
        """The rows of the valid samples; None where every row is valid."""
        low_v, high_v = self.settings.plausible_v
        low_i, high_i = self.settings.plausible_i
        t, v, i = self.trace.t, self.trace.v, self.trace.i
        if len(t) == 0:
            return None
        # A minimum that is NaN fails every comparison, so this short way never hides a bad reading.
        if (
            low_v <= v.min()
            and v.max() <= high_v
            and low_i <= i.min()
            and i.max() <= high_i
            and np.isfinite(t.min())
            and np.isfinite(t.max())
        ):
            return None
        valid = (v >= low_v) & (v <= high_v) & (i >= low_i) & (i <= high_i) & np.isfinite(t)
        return np.flatnonzero(valid)

    def _valid(self, column: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        return column if self.valid_rows is None else column[self.valid_rows]

    def row_of(self, k: int) -> int:
        """The row of sample `k`."""
        return k if self.valid_rows is None else int(self.valid_rows[k])

    def sample_at(self, row: int) -> int:
        """The first valid sample at or behind a row."""
        rows = self.valid_rows
        return row if rows is None else int(np.searchsorted(rows, row))

    @cached_property
    def t(self) -> Floats:
        """Stamps of the valid samples, s."""
        return self._valid(self.trace.t)  # type: ignore[return-value]

    @cached_property
    def v(self) -> Floats:
        """Pack voltages of the valid samples, V."""
        return self._valid(self.trace.v)  # type: ignore[return-value]

    @cached_property
    def i(self) -> Floats:
        """Currents of the valid samples, A."""
        return self._valid(self.trace.i)  # type: ignore[return-value]

    def reading(self, name: str) -> Floats | None:
        """An optional column at the valid samples; what is not finite is NaN; None if absent."""
        if name not in self.trace.columns:
            return None
        column: Floats = self._valid(self.trace.column(name))  # type: ignore[assignment]
        if np.isinf(column).any():
            column = np.where(np.isfinite(column), column, np.nan)
        return column

    @cached_property
    def stage(self) -> Stages:
        """Stages reported at the valid samples."""
        return self._valid(self.row_stage)  # type: ignore[return-value]

    @cached_property
    def breaks(self) -> Indices:
        """The samples at which continuity is broken: behind a long gap or a step back."""
        interval_s = np.diff(self.t)
        longest_s = self.settings.max_gap_s + TIME_SLACK_S
        if not len(interval_s) or (
            interval_s.min() >= -TIME_SLACK_S and interval_s.max() <= longest_s
        ):
            return np.empty(0, np.intp)
        return np.flatnonzero((interval_s < -TIME_SLACK_S) | (interval_s > longest_s)) + 1

    @cached_property
    def back_steps(self) -> Indices:
        """Those of the breaks at which the stamp steps back."""
        return self.breaks[self.t[self.breaks] - self.t[self.breaks - 1] < -TIME_SLACK_S]

    def broken_at(self, first: int, last: int) -> int:
        """The first break in `first..last`; or -1."""
        j = int(np.searchsorted(self.breaks, first))
        return int(self.breaks[j]) if j < len(self.breaks) and self.breaks[j] <= last else -1

    def steps_back(self, k: int) -> bool:
        """Whether the break at sample `k` is a stamp that steps back."""
        return bool(self.t[k] < self.t[k - 1])

    @cached_property
    def clock(self) -> Floats:
        """Time that has passed since the first valid sample, s: what has elapsed stays elapsed."""
        passed_s = np.diff(self.t, prepend=self.t[:1])
        # As the stamps stand, where none steps back: a sum of intervals rounds otherwise.
        if not len(self.back_steps):
            return self.t - self.t[0] if len(self.t) else self.t
        return np.cumsum(np.maximum(passed_s, 0.0))

    @cached_property
    def shifts(self) -> Shifts | None:
        """Shifts of the pack voltages with temperature; None where there are none."""
        temp_c = self.reading("temp_c")
        if self.settings.compensation_v_per_c == 0.0 or temp_c is None:
            return None
        return shifts_of(self.settings, self.clock, temp_c, self.tolerance_s)

    @property
    def shift_v(self) -> Floats | None:
        """Shift of the pack voltages at each sample by the rules, V; None where it is always 0."""
        return None if self.shifts is None else self.shifts.right_v

    @cached_property
    def level_v(self) -> Floats:
        """Pack voltages shifted to the reference temperature, V."""
        return self.v if self.shift_v is None else self.v - self.shift_v

    @cached_property
    def most_level_v(self) -> Floats:
        """The same by the least shift that is right: what a condition `at or above` may see, V."""
        return self.level_v if self._is_sure else self.v - self._shifts.least_v

    @cached_property
    def least_level_v(self) -> Floats:
        """The same by the greatest shift that is right: what it must see, V."""
        return self.level_v if self._is_sure else self.v - self._shifts.most_v

    @cached_property
    def _is_sure(self) -> bool:
        shifts = self.shifts
        return (
            shifts is None
            or shifts.least_v is shifts.most_v
            or bool((shifts.least_v == shifts.most_v).all())
        )

    @property
    def _shifts(self) -> Shifts:
        assert self.shifts is not None
        return self.shifts

    @property
    def either_way_v(self) -> float:
        """How near a computed threshold a reading may be and still go either way, V."""
        return 0.0 if self.shift_v is None else COMPUTED_V

    @cached_property
    def episodes(self) -> tuple[Episode, ...]:
        """The stages in order. A life begins in bulk, if only for no sample at all."""
        rows = len(self.row_stage)
        edges = [0, *(np.flatnonzero(self.row_stage[1:] != self.row_stage[:-1]) + 1).tolist(), rows]
        found = [(Stage(self.row_stage[a]), a, b) for a, b in pairwise(edges)]
        if found and found[0][0] is not Stage.BULK:
            found.insert(0, (Stage.BULK, 0, 0))
        result = []
        for number, (stage, first, behind) in enumerate(found):
            follows = found[number + 1][0] if number + 1 < len(found) else None
            stop = self.sample_at(behind)
            result.append(
                Episode(
                    stage,
                    (first, behind),
                    self.sample_at(first),
                    stop,
                    found[number - 1][0] if number else None,
                    follows,
                    follows is not None and stop < len(self.t) and self.row_of(stop) == behind,
                )
            )
        return tuple(result)

    def of_stage(self, stage: Stage) -> Iterator[Episode]:
        """The episodes of one stage."""
        return (episode for episode in self.episodes if episode.stage is stage)

    def held(self, holds: Flags, stage: Stage | None = None) -> Held:
        """Where a condition holds; a dwell begins anew at breaks, and where `stage` is entered."""
        splits = self.breaks
        if stage is not None:
            starts = np.array([episode.start for episode in self.of_stage(stage)], np.intp)
            splits = np.union1d(splits, starts)
        return Held.of(holds, self.t, splits)

    def slack_s(self, k: int) -> float:
        """By how much a timer may be off at sample `k`: one sampling interval and the tolerance, s."""
        around = self.t[max(k - 1, 0) : k + 2]
        interval_s = np.diff(around)
        fair = interval_s[(interval_s >= 0) & (interval_s <= self.settings.max_gap_s)]
        return float(fair.max(initial=0.0)) + self.tolerance_s + TIME_SLACK_S

    def invalid_between(self, first: int, last: int) -> bool:
        """Whether rows that are not valid lie between two samples."""
        return (
            self.valid_rows is not None and self.row_of(last) - self.row_of(first) != last - first
        )


def _part(column: Floats | None, start: int, stop: int, claimed: bool = True) -> Floats | None:
    return None if column is None or not claimed else column[start:stop]


def lives(run: Run, tolerance_s: float = 0.0) -> Iterator[Life]:
    """The lives of a run, in order: it is cut where the controller lost power."""
    cycles = sorted({k for k in run.case.power_cycles if 0 < k < len(run.case.trace)})
    edges = [0, *cycles, len(run.case.trace)]
    soc = run.answers.soc
    for start, stop in pairwise(edges):
        if start == stop:
            continue
        before = run.case.soc if start == 0 else None if soc is None else float(soc[start - 1])
        yield Life(
            run,
            start,
            stop,
            after_power_cycle=start > 0,
            soc_before=before,
            tolerance_s=tolerance_s,
        )
