"""What is said of a controller: by one case, of one requirement, and in all."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from attrs import field, frozen

from harness.run import Finding, Identity, Outcome


@frozen
class CaseVerdict:
    """What one case says of each requirement.

    Attributes:
        case: id of the case.
        exercised: how often each requirement was put to the test.
        findings: what was wrong, by time.
    """

    case: str
    exercised: Mapping[str, int]
    findings: tuple[Finding, ...]


@frozen
class RequirementResult:
    """What all cases together say of one requirement.

    Attributes:
        requirement: its id.
        outcome: what is known of it.
        exercised: how often it was put to the test.
        cases: ids of the cases that did.
        findings: what was wrong.
        reason: why it is not observable; empty for every other outcome.
    """

    requirement: str
    outcome: Outcome
    exercised: int
    cases: tuple[str, ...]
    findings: tuple[Finding, ...]
    reason: str = ""


@frozen
class Report:
    """The verdict on one controller.

    Attributes:
        spec: how it was attached.
        identity: who it says it is; None where it never said.
        results: one for each requirement that was asked for, in the order of the catalogue.
        cases: how many cases ran.
        not_applicable: cases that its fixed settings or claims rule out, with the reason.
        errors: cases that could not be judged, with the reason.
        role: what was under test: a `controller` or a `charger`.
    """

    spec: str
    identity: Identity | None
    results: tuple[RequirementResult, ...]
    cases: int
    not_applicable: Mapping[str, str] = field(factory=dict)
    errors: Mapping[str, str] = field(factory=dict)
    role: str = "controller"

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every finding, in the order of the catalogue."""
        return tuple(finding for result in self.results for finding in result.findings)

    @property
    def exit_code(self) -> Literal[0, 1, 3]:
        """0 conforms, 1 does not conform, 3 could not be judged."""
        outcomes = {result.outcome for result in self.results}
        if Outcome.FAIL in outcomes:
            return 1
        judged = outcomes & {Outcome.PASS}
        return 3 if self.errors or Outcome.ERROR in outcomes or not judged else 0
