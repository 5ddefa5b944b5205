"""Two runs of one controller side by side: where they first differ, and what is to blame for it."""

from __future__ import annotations

import numpy as np
from attrs import frozen

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.judge import judge
from harness.run import ANSWER_COLUMNS, Answers, Finding, Floats, Run

# A count that differs by less may come of another rounding; so may what is decided by it.
SOC_ROUNDING = 1e-6

# Where the runs themselves show no fault: what is asked of each stage, of whoever leaves it.
_OF_STAGE = {
    Stage.BULK: "ENTRY.not-late",
    Stage.ABSORPTION: "HOLD.ends",
    Stage.FLOAT: "FLOAT.stays",
    Stage.INHIBITED: "PROTECT.release-held",
}
_OF_COLUMN = {
    "soc": "SOC.counts",
    "full_reset": "FULL.at-hold-end",
    "voltage_request_v": "REQUEST.voltage",
    "current_request_a": "REQUEST.current",
}


@frozen
class Difference:
    """The first row in which two answers differ.

    Attributes:
        row: index of the sample.
        column: name of the first column that differs there.
        one: what the first of the two answers says.
        two: what the second says.
        stage: the stage of the first answer on the row before; bulk at the start.
    """

    row: int
    column: str
    one: str
    two: str
    stage: Stage

    @property
    def requirement(self) -> str:
        """What such a difference breaks, where nothing else is known."""
        return _OF_STAGE[self.stage] if self.column == "stage" else _OF_COLUMN[self.column]


def first_difference(
    one: Answers,
    two: Answers,
    *,
    soc_within: float = 0.0,
    volts_factor: float = 1.0,
    volts_within: float = 0.0,
) -> Difference | None:
    """The first row in which two answers of equal length differ; None where none does.

    A column that only one of them has is not compared.

    Args:
        one: first answers.
        two: second answers.
        soc_within: by how much the counts may differ.
        volts_factor: the voltages asked for in `two` over those in `one`.
        volts_within: by how much they may differ from that, V.
    """
    found: list[tuple[int, str, object, object]] = []
    for name in ANSWER_COLUMNS:
        left, right = getattr(one, name), getattr(two, name)
        if left is None or right is None:
            continue
        if name == "voltage_request_v":
            differs = ~(np.abs(volts_factor * left - right) <= volts_within)
        elif name == "soc":
            differs = ~(np.abs(left - right) <= soc_within)
        else:
            differs = left != right
        rows = np.flatnonzero(differs)
        if len(rows):
            found.append((int(rows[0]), name, left[rows[0]], right[rows[0]]))
    if not found:
        return None
    row, name, left, right = min(found, key=lambda entry: entry[0])
    return Difference(row, name, _said(name, left), _said(name, right), stage_before(one, row))


def stage_before(answers: Answers, row: int) -> Stage:
    """The stage on the row before; bulk before the first."""
    return Stage(int(answers.stage[row - 1])) if row else Stage.BULK


def decided_by_count(settings: Settings, *counts: Floats | None) -> bool:
    """Whether rounding of these counts may decide if float ends by `return_soc`.

    A count that is not told may lie anywhere.
    """
    if settings.return_soc is None:
        return False
    told = [count for count in counts if count is not None and len(count)]
    if len(told) < len(counts):
        return True
    low = min(float(count.min()) for count in told) - SOC_ROUNDING
    high = max(float(count.max()) for count in told) + SOC_ROUNDING
    return low <= settings.return_soc <= high


def blamed(default: str, *runs: Run) -> str:
    """The requirement that the first of these runs breaks by itself; `default` where none does."""
    for run in runs:
        findings = judge(run).findings
        if findings:
            return findings[0].requirement
    return default


def differs(run: Run, difference: Difference, other: Run, requirement: str, change: str) -> Finding:
    """The difference between a run and the one of the changed case as a finding.

    Args:
        run: of the case.
        difference: rows count in the trace of the case.
        other: of the changed case.
        requirement: id of what it breaks.
        change: what was changed, as the end of "the same trace, ...".
    """
    t = float(run.case.trace.t[difference.row])
    return Finding(
        requirement=requirement,
        case=run.case.id,
        t=t,
        index=difference.row,
        observed=f"{difference.column} {difference.two}",
        expected=f"{difference.column} {difference.one}",
        margin=0.0,
        unit="",
        sentence=(
            f"The same trace, {change}, was answered differently at t = {t:g} s: "
            f"{difference.column} {difference.two}, not {difference.one}."
        ),
        detail=f"answered by: {other.identity.name}",
    )


def _said(name: str, value: object) -> str:
    return Stage(int(str(value))).word if name == "stage" else str(value)
