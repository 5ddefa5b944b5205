"""One run of a charger in, what it says of each requirement out."""

from __future__ import annotations

from collections.abc import Iterable

from harness.charger.case import ChargerRun
from harness.charger.rules import CHARGER_CHECKS, CHARGER_REQUIREMENTS
from harness.charger.rules.life import charger_lives
from harness.rules.requirement import Marks
from harness.verdict import CaseVerdict


def judge_charger(
    run: ChargerRun, selected: Iterable[str] | None = None, *, tolerance_s: float = 0.0
) -> CaseVerdict:
    """Judge one run by every requirement that applies.

    Args:
        run: what a charger answered.
        selected: ids of the requirements to judge; None for all.
        tolerance_s: declared tolerance of the charger's clock, s.
    """
    claimed = {r.id for r in CHARGER_REQUIREMENTS if r.features <= run.identity.features}
    wanted = claimed if selected is None else claimed & set(selected)
    marks = Marks(run.case.id)
    for life in charger_lives(run, tolerance_s):
        for check in CHARGER_CHECKS:
            check(life, marks)
    findings = sorted(
        (finding for finding in marks.findings if finding.requirement in wanted),
        key=lambda finding: finding.index,
    )
    exercised = {name: times for name, times in marks.exercised.items() if name in wanted}
    return CaseVerdict(run.case.id, exercised, tuple(findings))
