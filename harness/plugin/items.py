"""The tests that pytest runs: one a vector, one for the end of the controller, and the hunt."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from harness.attach import LinkFault, Refused
from harness.plugin.failure import NonConformant, told
from harness.report.known import Entry, State
from harness.rules import REQUIREMENTS, requirement
from harness.run import Case, Finding, Run
from harness.verify import tried

if TYPE_CHECKING:
    from harness.plugin.front import Front

STOPS = "LINK.stops"


class Vectors(pytest.Collector):
    """What the tests hang on; it is filled from outside."""

    def collect(self) -> Iterable[pytest.Item]:
        """Nothing: the tests are added when all others are collected."""
        return ()


class _Test(pytest.Item):
    """One test of the controller."""

    def __init__(self, *, front: Front, requirements: Sequence[str], **rest: Any) -> None:
        super().__init__(**rest)
        self.front = front
        for name in dict.fromkeys(requirements):
            self.add_marker(name)
            self.add_marker(requirement(name).group)
        self.user_properties.append(("controller", front.controller))
        self.user_properties.append(("requirements", " ".join(dict.fromkeys(requirements))))

    def reportinfo(self) -> tuple[Path, int | None, str]:
        """Where the test stands, and what it is called."""
        return self.session.path / "fullproof", None, self.name

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """The finding in words; the way here says nothing."""
        if isinstance(excinfo.value, NonConformant):
            return told(excinfo.value, self.front)
        return super().repr_failure(excinfo, style)

    def conclude(
        self,
        findings: Sequence[Finding],
        case: Case | None = None,
        run: Run | None = None,
        stale: Sequence[Entry] = (),
    ) -> None:
        """Fail, or be expected to fail, by what was found.

        Args:
            findings: what was found.
            case: in which case; None where it was none.
            run: what was answered; None where the controller failed to.
            stale: known failures of this case that did not happen.

        Raises:
            NonConformant: a finding that is not known.
        """
        self.user_properties += [("broken", finding.requirement) for finding in findings]
        excuses = [self.front.excuse(finding) for finding in findings]
        unknown = [f for f, excuse in zip(findings, excuses, strict=True) if not excuse]
        if unknown:
            raise NonConformant(unknown, case, run)
        if stale:
            told_stale = "; ".join(f"{entry.text} {State.PASSES.value}" for entry in stale)
            pytest.fail(f"{self.front.known_file} is out of date: {told_stale}", pytrace=False)
        if excuses:
            pytest.xfail("; ".join(dict.fromkeys(excuses)))


class VectorTest(_Test):
    """One vector on the controller."""

    def __init__(self, *, case: Case | None, lacking: str, **rest: Any) -> None:
        super().__init__(requirements=case.requirements if case else (), **rest)
        self.case = case
        self.lacking = lacking

    def runtest(self) -> None:
        """Run the vector and judge the answers."""
        case, front = self.case, self.front
        if case is None:
            pytest.skip(self.lacking)
        if front.identity is not None:
            lacking = sorted(case.features - front.identity.features)
            if lacking:
                pytest.skip(f"needs {', '.join(lacking)}, which the controller does not claim")
        if reason := front.attachment.cannot_be_told(case):
            pytest.skip(reason)
        findings, run = _found(front, case)
        self.conclude(findings, case, run, front.stale(case.id, findings))


def _found(front: Front, case: Case) -> tuple[tuple[Finding, ...], Run | None]:
    try:
        verdict, run = tried(front.attachment, case, set(front.judged), front.tolerance_s)
    except LinkFault as fault:
        if not isinstance(fault, Refused):
            front.attachment.restart()
        t = float(case.trace.t[fault.index]) if fault.index >= 0 else float("nan")
        return (fault.finding(case.id, t=t),), None
    return tuple(f for f in verdict.findings if f.requirement in front.judged), run


class Farewell(_Test):
    """The controller ends when it is told to."""

    def __init__(self, **rest: Any) -> None:
        super().__init__(requirements=(STOPS,), **rest)

    def runtest(self) -> None:
        """Greet the controller, and tell it to stop."""
        findings: list[Finding] = []
        try:
            self.front.attachment.hello()
            self.front.attachment.stop()
        except LinkFault as fault:
            self.front.attachment.restart()
            findings.append(fault.finding(self.name))
        self.conclude(findings)


class Hunt(_Test):
    """Traces drawn by Hypothesis, the failing one shortened."""

    def __init__(self, *, front: Front, **rest: Any) -> None:
        every = [r.id for r in REQUIREMENTS if r.id in front.judged]
        super().__init__(front=front, requirements=every, **rest)

    def runtest(self) -> None:
        """Draw traces until one fails or all have been tried."""
        # Compiled code takes a while to load, and not every session hunts.
        from harness.plugin.hunting import hunted

        try:
            identity = self.front.attachment.hello()
        except LinkFault as fault:
            self.front.attachment.restart()
            self.conclude([fault.finding(self.name)])
            return
        finding, case, run = hunted(self.front, identity)
        self.conclude([] if finding is None else [finding], case, run)
