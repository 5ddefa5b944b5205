"""One run in, what it says of each requirement out."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from harness.expected import unexpected
from harness.rules import REQUIREMENTS
from harness.rules.life import lives
from harness.rules.power import STARTS as STARTS_IN_BULK
from harness.rules.requirement import Check, Marks
from harness.run import Run
from harness.verdict import CaseVerdict


def judge(
    run: Run,
    selected: Iterable[str] | None = None,
    *,
    tolerance_s: float = 0.0,
    without: Collection[Check] = (),
) -> CaseVerdict:
    """Judge one run by every requirement that applies.

    Args:
        run: what a controller answered.
        selected: ids of the requirements to judge; None for all.
        tolerance_s: declared tolerance of the controller's clock, s.
        without: analyses that are left out.
    """
    claimed = {r.id for r in REQUIREMENTS if r.features <= run.identity.features}
    wanted = claimed if selected is None else claimed & set(selected)
    # A check may find what breaks a requirement of another group, so all of them look.
    checks = dict.fromkeys(r.check for r in REQUIREMENTS if r.check not in without)
    marks = Marks(run.case.id)
    for life in lives(run, tolerance_s):
        for check in checks:
            check(life, marks)
    # What a case expects is a net under the checks: it speaks only where they are silent.
    found = [f for f in marks.findings if f.requirement in claimed] or unexpected(run)
    findings = [f for f in found if f.requirement in wanted]
    after_power = {f.index for f in findings if f.requirement == STARTS_IN_BULK}
    findings = [
        f for f in findings if f.index not in after_power or f.requirement == STARTS_IN_BULK
    ]
    exercised = {name: times for name, times in marks.exercised.items() if name in wanted}
    return CaseVerdict(run.case.id, exercised, tuple(sorted(findings, key=lambda f: f.index)))
