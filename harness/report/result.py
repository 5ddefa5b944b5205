"""The result that is told and stored: a report, how much of a run it stands for, what is excused."""

from __future__ import annotations

from attrs import field, frozen

from harness.report.environment import Environment
from harness.report.excerpt import Excerpt
from harness.report.known import Standing, State
from harness.run import Finding, Outcome
from harness.verdict import Report, RequirementResult


@frozen
class Result:
    """What `verify` found out.

    Attributes:
        report: the verdict.
        selection: what was selected, as it was written; empty for everything.
        stopped: why the run ended before all cases were tried; empty where it did not.
        known: the list of known failures, and what the run says about it.
        tried: ids of the cases that were tried; empty where they have none that last.
        limit_s: the longest wait for one answer, s; None for the usual one.
        tolerance_s: declared tolerance of the controller's clock, s.
        environment: where and how it was made; None where that is not known.
        excerpts: the samples around findings that were kept.
    """

    report: Report
    selection: tuple[str, ...] = ()
    stopped: str = ""
    known: tuple[Standing, ...] = ()
    tried: tuple[str, ...] = ()
    limit_s: float | None = None
    tolerance_s: float = 0.0
    environment: Environment | None = None
    excerpts: tuple[Excerpt, ...] = field(default=(), repr=False)

    @property
    def exit_code(self) -> int:
        """0 conforms, 1 does not conform, 3 could not be judged."""
        if any(standing.out_of_date for standing in self.known):
            return 1
        if self.report.exit_code != 1:
            return self.report.exit_code
        if any(self.unexcused(result) for result in self.report.results):
            return 1
        judged = any(
            result.outcome in (Outcome.PASS, Outcome.FAIL) for result in self.report.results
        )
        return 3 if self.report.errors or not judged else 0

    def reason(self, finding: Finding) -> str:
        """Why a finding is excused; empty where it is not."""
        for standing in self.known:
            if standing.state is State.EXCUSES and standing.entry.names(finding):
                return standing.entry.reason
        return ""

    def unexcused(self, result: RequirementResult) -> tuple[Finding, ...]:
        """The findings about one requirement that no entry excuses."""
        return tuple(finding for finding in result.findings if not self.reason(finding))

    def excused(self, result: RequirementResult) -> bool:
        """Whether a requirement fails, and every one of its findings is excused."""
        return result.outcome is Outcome.FAIL and not self.unexcused(result)

    def excerpt(self, finding: Finding) -> Excerpt | None:
        """The samples around a finding; None where they were not kept."""
        return next((each for each in self.excerpts if each.position(finding) >= 0), None)
