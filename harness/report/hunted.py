"""What a hunt found, as a result: shortened failures, and the verdict requirement by requirement."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

from attrs import evolve, frozen

from harness.hunt.failure import Failure, Hunted
from harness.hunt.reduce import Reduced
from harness.report.catalogue import catalogue_of
from harness.report.hunt_roles import hunt_told
from harness.report.hunt_table import text_of
from harness.report.result import Result
from harness.report.words import count
from harness.rules.requirement import Requirement
from harness.run import Finding, Outcome
from harness.verdict import Report, RequirementResult


@frozen(eq=False)
class Told:
    """One failure as it is told.

    Attributes:
        failure: what the hunt found.
        reduced: the shortest trace that shows it; None where it was not shortened.
        again: the command that shows it again; empty for none.
        saved: the file that its vector was written to; empty for none.
        not_saved: why there is none, where one was asked for.
    """

    failure: Failure
    reduced: Reduced | None
    again: str
    saved: str = ""
    not_saved: str = ""

    @property
    def case(self) -> Any:
        """The trace to show: the shortened one, where there is one that fails for certain."""
        sure = self.reduced is not None and not self.reduced.flaky
        return self.reduced.case if self.reduced and sure else self.failure.case

    @property
    def finding(self) -> Finding:
        """What is wrong in it."""
        shown = self.reduced.shown if self.reduced else None
        return self.failure.finding if shown is None else shown.finding

    @property
    def run(self) -> Any:
        """What the controller answered to the shortened trace; None where that is not known."""
        shown = self.reduced.shown if self.reduced else None
        return None if shown is None else shown.run


@frozen(eq=False)
class HuntResult:
    """What came of a hunt, with what is told of it.

    Attributes:
        hunted: what the hunt found.
        told: the failures that are told in full, requirement by requirement.
        result: the verdict, with what was selected and what is a known failure.
    """

    hunted: Hunted
    told: tuple[Told, ...]
    result: Result


def ranked(failures: Sequence[Failure], ways_each: int) -> list[Failure]:
    """The failures to be told in full; what most traces show comes first.

    Args:
        failures: what a hunt found.
        ways_each: how many ways of breaking one requirement are told in full.
    """
    together: dict[str, list[Failure]] = {}
    for failure in sorted(failures, key=lambda each: -each.traces):
        together.setdefault(failure.key.requirement, []).append(failure)
    return [each for ways in together.values() for each in ways[:ways_each]]


def report_of(hunted: Hunted, told: Sequence[Told], asked_for: Collection[str]) -> Report:
    """The verdict: one result a requirement, with one finding for each way in which it was broken.

    The cases of a result are those in which it was first found broken, way by way.

    Args:
        hunted: what the hunt found.
        told: the failures that were shortened.
        asked_for: ids of the requirements that were asked for.
    """
    shorter = {each.failure.key: each for each in told}
    findings: dict[str, list[Finding]] = {}
    for failure in hunted.failures:
        each = shorter.get(failure.key)
        finding = failure.finding if each is None else _with_table(each, hunted.role)
        findings.setdefault(failure.key.requirement, []).append(finding)
    return Report(
        spec=hunted.spec,
        identity=hunted.identity,
        results=tuple(
            _result(hunted, requirement, tuple(findings.get(requirement.id, ())))
            for requirement in catalogue_of(hunted.role)
            if requirement.id in asked_for or requirement.id in findings
        ),
        cases=hunted.traces,
        errors=dict(hunted.errors),
        role=hunted.role,
    )


def _result(
    hunted: Hunted, requirement: Requirement, findings: tuple[Finding, ...]
) -> RequirementResult:
    exercised = hunted.exercised.get(requirement.id, 0)
    if findings:
        outcome = Outcome.FAIL
    elif hunted.identity is None:
        outcome = Outcome.UNKNOWN
    elif not requirement.features <= hunted.identity.features:
        outcome = Outcome.NOT_CLAIMED
    elif exercised:
        outcome = Outcome.PASS
    else:
        outcome = Outcome.ERROR if hunted.errors else Outcome.NOT_EXERCISED
    cases = tuple(dict.fromkeys(finding.case for finding in findings if finding.case))
    return RequirementResult(requirement.id, outcome, exercised, cases, findings)


def _with_table(told: Told, role: str) -> Finding:
    """The finding with the trace that shows it, for whoever reads no terminal."""
    finding, lines = told.finding, []
    if finding.detail:
        lines.append(finding.detail)
    if told.reduced is not None and told.case is not None and not told.reduced.flaky:
        samples = count(len(told.case.trace), "sample")
        lines += [
            f"in the trace shortened to {samples}:",
            *text_of(hunt_told(role).table(told.case, told.run, finding)),
        ]
    if told.again:
        lines.append(f"again: {told.again}")
    return evolve(finding, detail="\n".join(lines))
