"""A charger and cases in, a verdict requirement by requirement out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from attrs import evolve

from harness.charger.attach import ChargerAttachment, drive_charger
from harness.charger.case import CHARGER_ANSWER_COLUMNS, ChargerCase, ChargerRun
from harness.charger.judge import judge_charger
from harness.charger.rules import CHARGER_REQUIREMENTS
from harness.rules.link import CUTS
from harness.verdict import CaseVerdict, Report
from harness.verify import TRANSPORT, Role, differing, tried_again, verify_as


def tried_charger(
    attachment: ChargerAttachment, case: ChargerCase, names: set[str], tolerance_s: float
) -> tuple[CaseVerdict, ChargerRun]:
    """Run one case and judge it; those about the link itself are run a second time."""
    run = drive_charger(attachment, case)
    verdict = judge_charger(run, names, tolerance_s=tolerance_s)
    exercised = {**verdict.exercised, **dict.fromkeys(TRANSPORT, 1)}
    findings = list(verdict.findings)
    for name in tried_again(case, names):
        exercised[name] = 1
        other = drive_charger(attachment, evolve(case, cuts=()) if name == CUTS else case)
        findings += differing(run, other.answers, name, CHARGER_ANSWER_COLUMNS)
    return CaseVerdict(case.id, exercised, tuple(findings)), run


CHARGER = Role(
    "charger",
    CHARGER_REQUIREMENTS,
    tried_charger,
    lambda attachment, case: str(attachment.cannot_be_told(case)),
)


def verify_charger(
    attachment: ChargerAttachment,
    cases: Sequence[ChargerCase],
    *,
    selected: Iterable[str] | None = None,
    fail_fast: bool = False,
    tolerance_s: float = 0.0,
    progress: Callable[[ChargerCase], None] | None = None,
) -> Report:
    """Try every case on a charger, and judge what it answers.

    Args:
        attachment: the charger.
        cases: what to try.
        selected: ids of the requirements to judge; None for all.
        fail_fast: stop at the first case with a finding.
        tolerance_s: declared tolerance of the charger's clock, s.
        progress: called with each case before it runs.

    Raises:
        ValueError: no case, or an unknown requirement.
    """
    return verify_as(
        CHARGER,
        attachment,
        cases,
        selected=selected,
        fail_fast=fail_fast,
        tolerance_s=tolerance_s,
        progress=progress,
    )
