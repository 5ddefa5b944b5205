"""One case on what is under test: what it answered, and what is wrong with that."""

from __future__ import annotations

from collections.abc import Mapping
from math import nan
from typing import Any

from attrs import frozen

from harness.attach.base import Attached, LinkFault, Refused
from harness.hunt.failure import Key
from harness.hunt.role import HuntRole, role_of
from harness.run import Finding


@frozen(eq=False)
class Trial:
    """What came of one case.

    Attributes:
        role: what was under test.
        case: the case.
        run: what was answered; None where the controller failed to answer.
        fault: how it failed; None where it answered.
    """

    role: HuntRole
    case: Any
    run: Any
    fault: Finding | None = None

    @property
    def answers(self) -> Any:
        """The answers, where there are any."""
        return None if self.run is None else self.run.answers


def tried(attachment: Attached, case: Any, *, afresh: bool = False) -> Trial:
    """Run a case; a fault of the link is what came of it, and the next case finds it started anew.

    Args:
        attachment: the controller.
        case: what to try.
        afresh: on a program on which nothing ran before.
    """
    role = role_of(attachment)
    if afresh:
        attachment.restart()
    try:
        return Trial(role, case, role.drive(attachment, case))
    except LinkFault as fault:
        if not isinstance(fault, Refused):
            attachment.restart()
        t = float(case.trace.t[fault.index]) if fault.index >= 0 else nan
        return Trial(role, case, None, fault.finding(case.id, t=t))


@frozen(eq=False)
class Judged:
    """What is wrong with a trial.

    Attributes:
        found: the first finding of each kind.
        exercised: how often each requirement was put to the test.
    """

    found: Mapping[Key, Finding]
    exercised: Mapping[str, int]


def judged(trial: Trial, tolerance_s: float) -> Judged:
    """Judge a trial by every requirement."""
    if trial.run is None:
        assert trial.fault is not None
        fault = trial.fault
        return Judged({Key(fault.requirement, ""): fault}, {fault.requirement: 1})
    verdict = trial.role.judge(trial.run, tolerance_s)
    found: dict[Key, Finding] = {}
    for finding in verdict.findings:
        found.setdefault(Key(finding.requirement, trial.role.way_of(trial.run, finding)), finding)
    return Judged(found, verdict.exercised)
