"""The count of charge, interval by interval, in blocks that stay in the processor's cache."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.rules.held import TIME_SLACK_S, Held, Indices
from harness.rules.life import Life
from harness.rules.requirement import Marks
from harness.run import Flags, Floats

STARTS = "SOC.starts"
COUNTS = "SOC.counts"
EFFICIENCY = "SOC.efficiency"
CEILING = "SOC.ceiling"
BOUNDS = "SOC.bounds"
NO_JUMP = "SOC.no-jump"
EMPTY = "SOC.empty"
GAP = "TIME.gap-adds-nothing"
BACK = "TIME.backward-step"
KEEPS = "POWER.keeps-soc"

# The resolution of a count in single precision.
SOC_SLACK = 1e-7
# A step this far outside what the current allows is no longer a matter of counting.
JUMP = 5e-4
BLOCK = 1 << 16


@frozen(eq=False)
class Step:
    """What the intervals of one block allow, and what was reported.

    Attributes:
        before: count at the start of each interval.
        after: count at its end.
        low: least count that is right at its end.
        high: greatest count that is right at its end.
        uncapped: the greatest, were there no ceiling.
        joined: whether the interval is continuous.
        charged: whether charging current flowed in it.
        flowed: whether any current flowed in it.
        slack: how far outside a count may lie: the resolution of counts and of stamps.
    """

    before: Floats
    after: Floats
    low: Floats
    high: Floats
    uncapped: Floats
    joined: Flags
    charged: Flags
    flowed: Flags
    slack: float


def _resolution_s(t: Floats) -> float:
    """By how much an interval between two of these stamps may be rounded, s.

    To what a stamp can hold, and to the millisecond: many a clock counts nothing finer.
    """
    in_ms = 1e3 * t
    off_ms = float(np.abs(in_ms - np.rint(in_ms)).max())
    return 2.0 * (float(np.spacing(max(abs(t.max()), abs(t.min())))) + 1e-3 * off_ms)


def _steps(life: Life, soc: Floats) -> Iterator[tuple[int, Step]]:
    """The intervals in blocks: `(index of the sample that ends the first one, block)`."""
    s = life.settings
    per_coulomb = 1.0 / (3600.0 * s.capacity_ah)
    for first in range(1, len(soc), BLOCK):
        part = slice(first - 1, first + BLOCK)
        t, i, count = life.t[part], life.i[part], soc[part]
        interval_s = t[1:] - t[:-1]
        joined = (interval_s >= -TIME_SLACK_S) & (interval_s <= s.max_gap_s + TIME_SLACK_S)
        fair = i * per_coulomb
        if s.charge_efficiency != 1.0:
            fair = np.where(fair > 0, fair * s.charge_efficiency, fair)
        one, other = fair[:-1] * interval_s, fair[1:] * interval_s
        if not joined.all():
            one, other = np.where(joined, one, 0.0), np.where(joined, other, 0.0)
        before, after = count[:-1], count[1:]
        top = np.maximum(before, s.soc_ceiling)
        low, uncapped = before + np.minimum(one, other), before + np.maximum(one, other)
        yield (
            first,
            Step(
                before,
                after,
                np.maximum(np.minimum(low, top), 0.0),
                np.maximum(np.minimum(uncapped, top), 0.0),
                uncapped,
                joined,
                (i[:-1] > 0) | (i[1:] > 0),
                (i[:-1] != 0) | (i[1:] != 0),
                SOC_SLACK + _resolution_s(t) * max(i.max(), -i.min()) * per_coulomb,
            ),
        )


def counts(life: Life, marks: Marks) -> None:
    """Judge the count of one life, the empty rule included."""
    row_soc = life.row_soc
    if row_soc is None:
        return
    _start(life, row_soc, marks)
    bounds(life, marks)
    soc = row_soc if life.valid_rows is None else row_soc[life.valid_rows]
    empties = _Empties(life)
    told: set[str] = set()
    for first, step in _steps(life, soc):
        _exercise(life, step, marks)
        wrong = ~((step.after >= step.low - step.slack) & (step.after <= step.high + step.slack))
        for j in np.flatnonzero(wrong).tolist():
            k = first + j
            if _is_full_reset(life, k, float(step.after[j])):
                continue
            excused, requirement = empties.zeroed(k, float(step.after[j]))
            if excused:
                continue
            requirement = requirement or _blame(life, step, j, k)
            if requirement not in told:
                told.add(requirement)
                _tell(life, step, j, k, requirement, marks)
    empties.must(soc, marks)


def _exercise(life: Life, step: Step, marks: Marks) -> None:
    marks.seen(COUNTS, int(np.count_nonzero(step.joined & step.flowed)))
    marks.seen(NO_JUMP, len(step.after))
    if life.settings.charge_efficiency != 1.0:
        marks.seen(EFFICIENCY, int(np.count_nonzero(step.joined & step.charged)))
    if not step.joined.all():
        marks.seen(GAP, int(np.count_nonzero(~step.joined & step.flowed)))
    if step.uncapped.max(initial=0.0) > life.settings.soc_ceiling:
        marks.seen(CEILING, int(np.count_nonzero(step.uncapped > step.high)))


def _is_full_reset(life: Life, k: int, after: float) -> bool:
    row = life.row_of(k)
    if life.row_reset is not None:
        return bool(life.row_reset[row])
    stages = life.row_stage[max(row - 1, 0) : row + 1]
    changed = len(stages) > 1 and stages[0] != stages[1]
    return after == 1.0 and bool(changed) and int(Stage.EQUALISATION) not in stages


def _blame(life: Life, step: Step, j: int, k: int) -> str:
    if not step.joined[j]:
        return BACK if life.steps_back(k) else GAP
    after, low, high = float(step.after[j]), float(step.low[j]), float(step.high[j])
    if high < after <= float(step.uncapped[j]) + SOC_SLACK:
        return CEILING
    outside = max(low - after, after - high)
    widest = abs(low - step.before[j]) + abs(high - step.before[j])
    if not outside <= max(JUMP, 3.0 * float(widest)):
        return NO_JUMP
    return EFFICIENCY if life.settings.charge_efficiency != 1.0 else COUNTS


_WHAT = {
    COUNTS: "the count moved by more or less than the current allows",
    EFFICIENCY: "the count does not fit the current and charge_efficiency",
    CEILING: "counting alone raised the state of charge above soc_ceiling",
    NO_JUMP: "the state of charge jumped without a full or empty reset",
    EMPTY: "the state of charge was set to 0 before the empty voltage had stood",
    GAP: "charge was counted over an interval that is not continuous",
    BACK: "charge was counted over a stamp that steps back",
}


def _tell(life: Life, step: Step, j: int, k: int, requirement: str, marks: Marks) -> None:
    before, after = float(step.before[j]), float(step.after[j])
    low, high = float(step.low[j]), float(step.high[j])
    outside = after - high if after > high else low - after
    marks.broken(
        requirement,
        life,
        life.row_of(k),
        observed=f"SoC {before:.7f} -> {after:.7f}",
        expected=f"SoC {low:.7f}" if high - low < SOC_SLACK else f"SoC {low:.7f}..{high:.7f}",
        margin=outside,
        unit="SoC",
        sentence=f"{_WHAT[requirement]}: {before:.7f} became {after:.7f}, {outside:.2g} outside",
    )


def _start(life: Life, row_soc: Floats, marks: Marks) -> None:
    if life.soc_before is None:
        return
    requirement = KEEPS if life.after_power_cycle else STARTS
    marks.seen(requirement)
    soc = float(row_soc[0])
    if abs(soc - life.soc_before) <= SOC_SLACK:
        return
    s = life.settings
    low = s.empty_v is not None and len(life.v) and life.v[0] <= s.empty_v
    if soc == 0.0 and low and s.empty_dwell_s <= life.slack_s(0):
        return
    kept = "the count that it had when it lost power" if life.after_power_cycle else "its start"
    marks.broken(
        requirement,
        life,
        0,
        observed=f"SoC {soc:.7f}",
        expected=f"SoC {life.soc_before:.7f}",
        margin=abs(soc - life.soc_before),
        unit="SoC",
        sentence=f"the first sample shows a state of charge of {soc:.7f}, not {kept}, {life.soc_before:.7f}",
    )


def bounds(life: Life, marks: Marks) -> None:
    """Judge that the count of one life stays within 0..1."""
    row_soc = life.row_soc
    if row_soc is None:
        return
    marks.seen(BOUNDS, len(row_soc))
    least, most = float(row_soc.min(initial=0.0)), float(row_soc.max(initial=0.0))
    if least >= 0.0 and most <= 1.0:
        return
    row = int(np.flatnonzero(~((row_soc >= 0.0) & (row_soc <= 1.0)))[0])
    soc = float(row_soc[row])
    marks.broken(
        BOUNDS,
        life,
        row,
        observed=f"SoC {soc:.7f}",
        expected="SoC 0..1",
        margin=max(-soc, soc - 1.0),
        unit="SoC",
        sentence=f"the state of charge is {soc:.7f}, outside 0..1",
    )


class _Empties:
    """The empty rule: where it may, and where it must, have set the count to 0."""

    def __init__(self, life: Life) -> None:
        self.life = life
        self.empty_v = life.settings.empty_v
        none: Indices = np.empty(0, np.intp)
        if self.empty_v is None or (len(life.v) and life.v.min() > self.empty_v):
            self.runs = self.held = Held(life.t, none, none)
        else:
            low = life.v <= self.empty_v
            self.runs = Held.of(low, life.t, none)
            self.held = life.held(low)
        self.done: dict[int, int] = {}

    def zeroed(self, k: int, after: float) -> tuple[bool, str]:
        """Whether a count of 0 at sample `k` is the empty rule's; else what it breaks, if known."""
        run = self.runs.at(k)
        if after != 0.0 or run < 0:
            return False, ""
        if run in self.done:
            return False, EMPTY
        if self.held.held_s(k) < self.life.settings.empty_dwell_s - self.life.slack_s(k):
            return False, EMPTY
        self.done[run] = k
        return True, ""

    def must(self, soc: Floats, marks: Marks) -> None:
        """Judge that the empty rule was obeyed in every stretch that asks for it."""
        dwell_s = self.life.settings.empty_dwell_s
        for run in range(len(self.runs.start)):
            first, last = int(self.runs.start[run]), int(self.runs.stop[run]) - 1
            due = self.held.due(first, last, dwell_s)
            if due < 0:
                continue
            marks.seen(EMPTY)
            late = self.held.following(due, self.life.tolerance_s)
            if late < 0 or self.done.get(run, late + 1) <= late or soc[due] == 0.0:
                continue
            if soc[late] == 0.0 or (due > 0 and soc[due - 1] == 0.0):
                continue
            marks.broken(
                EMPTY,
                self.life,
                self.life.row_of(late),
                observed=f"SoC {soc[late]:.7f}",
                expected="SoC 0",
                margin=float(soc[late]),
                unit="SoC",
                sentence=(
                    f"the state of charge was not set to 0: the voltage had been at or below empty_v "
                    f"({self.empty_v:g} V) for {self.held.held_s(late):g} s, {dwell_s:g} s are enough"
                ),
            )
