"""A controller and cases in, a verdict requirement by requirement out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from attrs import evolve, frozen

from harness.attach.base import Attached, Attachment, LinkFault, Refused
from harness.attach.drive import drive
from harness.judge import judge
from harness.rules import REQUIREMENTS
from harness.rules.link import CUTS, FRESH
from harness.rules.requirement import Requirement
from harness.run import ANSWER_COLUMNS, Case, Finding, Identity, Outcome, Run
from harness.verdict import CaseVerdict, Report, RequirementResult

# Requirements that any answered message puts to the test.
TRANSPORT = tuple(
    r.id for r in REQUIREMENTS if r.group == "LINK" and r.id not in (CUTS, FRESH, "LINK.stops")
)
# After so many cases in a row without a proper answer the rest is not tried.
SILENT_CASES = 5


@frozen
class Role:
    """What can be under test, and how one case of it is tried.

    Attributes:
        name: `controller` or `charger`.
        catalogue: its requirements.
        tried: takes attachment, case, ids to judge and tolerance of the clock (s), and returns the
            verdict and the run; raises `LinkFault`.
        lacking: takes attachment and case, and says why the one cannot be told the other; empty
            where it can.
    """

    name: str
    catalogue: tuple[Requirement, ...]
    tried: Callable[[Any, Any, set[str], float], tuple[CaseVerdict, Any]]
    lacking: Callable[[Any, Any], str]


class _Tally:
    """Verdicts of single cases, gathered requirement by requirement."""

    def __init__(self, selected: Sequence[Requirement]) -> None:
        self.selected = selected
        self.names = {r.id for r in selected}
        self.exercised: Counter[str] = Counter()
        self.cases: dict[str, list[str]] = {r.id: [] for r in selected}
        self.findings: dict[str, list[Finding]] = {r.id: [] for r in selected}

    def add(self, verdict: CaseVerdict) -> None:
        for name, times in verdict.exercised.items():
            if name in self.cases:
                self.exercised[name] += times
                self.cases[name].append(verdict.case)
        for finding in verdict.findings:
            if finding.requirement in self.findings:
                self.findings[finding.requirement].append(finding)

    def results(
        self, identity: Identity | None, errors: Mapping[str, str]
    ) -> tuple[RequirementResult, ...]:
        claims = identity.features if identity else frozenset()
        results = []
        for requirement in self.selected:
            name = requirement.id
            if self.findings[name]:
                outcome = Outcome.FAIL
            elif identity is None:
                outcome = Outcome.UNKNOWN
            elif not requirement.features <= claims:
                outcome = Outcome.NOT_CLAIMED
            elif self.exercised[name]:
                outcome = Outcome.PASS
            else:
                outcome = Outcome.ERROR if errors else Outcome.NOT_EXERCISED
            results.append(
                RequirementResult(
                    name,
                    outcome,
                    self.exercised[name],
                    tuple(self.cases[name]),
                    # The shortest trace that shows it comes first.
                    tuple(sorted(self.findings[name], key=lambda finding: finding.index)),
                )
            )
        return tuple(results)


def verify(
    attachment: Attachment,
    cases: Sequence[Case],
    *,
    selected: Iterable[str] | None = None,
    not_applicable: Mapping[str, str] | None = None,
    fail_fast: bool = False,
    tolerance_s: float = 0.0,
    progress: Callable[[Case], None] | None = None,
    keep: Callable[[Case, Run | None, Sequence[Finding]], None] | None = None,
) -> Report:
    """Try every case on a controller, and judge what it answers.

    Args:
        attachment: the controller.
        cases: what to try; those that need a feature it does not claim are left out.
        selected: ids of the requirements to judge; None for all.
        not_applicable: cases left out beforehand, with the reason.
        fail_fast: stop at the first case with a finding.
        tolerance_s: declared tolerance of the controller's clock, s.
        progress: called with each case before it runs.
        keep: called with each case that has findings, what came of it (None where the controller
            failed to answer), and those findings.

    Raises:
        ValueError: no case, or an unknown requirement.
    """
    return verify_as(
        CONTROLLER,
        attachment,
        cases,
        selected=selected,
        not_applicable=not_applicable,
        fail_fast=fail_fast,
        tolerance_s=tolerance_s,
        progress=progress,
        keep=keep,
    )


def verify_as(
    role: Role,
    attachment: Attached,
    cases: Sequence[Any],
    *,
    selected: Iterable[str] | None = None,
    not_applicable: Mapping[str, str] | None = None,
    fail_fast: bool = False,
    tolerance_s: float = 0.0,
    progress: Callable[[Any], None] | None = None,
    keep: Callable[[Any, Any, Sequence[Finding]], None] | None = None,
) -> Report:
    """The same for any role: its attachment, its cases; see `verify`."""
    chosen = _chosen(selected, role.catalogue)
    if not cases and not not_applicable:
        raise ValueError("there is no case to try")
    trial = _Trial(role, attachment, {r.id for r in chosen}, tolerance_s)
    tally = _Tally(chosen)
    left_out = dict(not_applicable or {})
    for number, case in enumerate(cases):
        if progress is not None:
            progress(case)
        reason = trial.lacking(case)
        if reason:
            left_out[case.id] = reason
            continue
        verdict, run = trial.of(case)
        tally.add(verdict)
        told = [finding for finding in verdict.findings if finding.requirement in tally.names]
        if keep is not None and told:
            keep(case, run, told)
        if trial.given_up:
            trial.errors.update(dict.fromkeys((c.id for c in cases[number + 1 :]), trial.given_up))
            break
        if fail_fast and told:
            break
    if trial.ran and trial.identity is not None:
        tally.add(trial.farewell(cases[-1].id))
    return Report(
        spec=attachment.spec,
        identity=trial.identity,
        results=tally.results(trial.identity, trial.errors),
        cases=trial.ran,
        not_applicable=left_out,
        errors=trial.errors,
        role=role.name,
    )


class _Trial:
    """What is under test through all its cases: what it says, and how often it fails to."""

    def __init__(
        self, role: Role, attachment: Attached, names: set[str], tolerance_s: float
    ) -> None:
        self.role = role
        self.attachment = attachment
        self.names = names
        self.tolerance_s = tolerance_s
        self.identity: Identity | None = None
        self.greeting: LinkFault | None = None
        self.ran = 0
        self.errors: dict[str, str] = {}
        self.given_up = ""
        self.silent_in_a_row = 0

    def lacking(self, case: Any) -> str:
        """Why the case cannot be tried on this controller; empty where it can, or nobody knows."""
        try:
            self.identity = self.attachment.hello()
        except LinkFault as fault:
            # Asked once: a controller that hangs here costs the whole limit each time.
            self.greeting = fault
            return ""
        lacking = sorted(case.features - self.identity.features)
        if not lacking:
            return self.role.lacking(self.attachment, case)
        return f"needs {', '.join(lacking)}, which the {self.role.name} does not claim"

    def of(self, case: Any) -> tuple[CaseVerdict, Any]:
        """Run one case and judge it; a fault of the link is its verdict, without a run."""
        self.ran += 1
        try:
            if self.greeting is not None:
                raise self.greeting
            verdict, run = self.role.tried(self.attachment, case, self.names, self.tolerance_s)
        except LinkFault as fault:
            if not isinstance(fault, Refused):
                self.attachment.restart()
            self._count(case, fault)
            t = float(case.trace.t[fault.index]) if fault.index >= 0 else float("nan")
            finding = fault.finding(case.id, t=t)
            return CaseVerdict(case.id, {fault.requirement: 1}, (finding,)), None
        except Exception as error:  # one case that cannot be judged must not block the others
            self.errors[case.id] = f"could not be judged: {type(error).__name__}: {error}"
            return CaseVerdict(case.id, {}, ()), None
        self.silent_in_a_row = 0
        return verdict, run

    def _count(self, case: Any, fault: LinkFault) -> None:
        if self.identity is None:
            self.errors[case.id] = self.given_up = f"the {self.role.name} never said who it is"
            return
        # Each silence costs the whole limit of an answer; any other fault costs next to nothing.
        silent = fault.requirement == "LINK.answers"
        self.silent_in_a_row = self.silent_in_a_row + 1 if silent else 0
        if self.silent_in_a_row == SILENT_CASES:
            self.given_up = f"not tried: {SILENT_CASES} cases in a row had no proper answer"

    def farewell(self, case: str) -> CaseVerdict:
        """The end of the program, after the last case."""
        try:
            self.attachment.hello()
            self.attachment.stop()
        except LinkFault as fault:
            return CaseVerdict(case, {fault.requirement: 1}, (fault.finding(case),))
        return CaseVerdict(case, {"LINK.stops": 1}, ())


def _chosen(
    selected: Iterable[str] | None, catalogue: tuple[Requirement, ...]
) -> tuple[Requirement, ...]:
    if selected is None:
        return catalogue
    wanted = set(selected)
    unknown = wanted - {r.id for r in catalogue}
    if unknown or not wanted:
        raise ValueError(f"no such requirement: {', '.join(sorted(unknown)) or 'none was named'}")
    return tuple(r for r in catalogue if r.id in wanted)


def tried(
    attachment: Attachment, case: Case, names: set[str], tolerance_s: float
) -> tuple[CaseVerdict, Run]:
    """Run one case and judge it; those about the link itself are run a second time."""
    run = drive(attachment, case)
    verdict = judge(run, names, tolerance_s=tolerance_s)
    exercised = {**verdict.exercised, **dict.fromkeys(TRANSPORT, 1)}
    findings = list(verdict.findings)
    for name in tried_again(case, names):
        exercised[name] = 1
        other = drive(attachment, evolve(case, cuts=()) if name == CUTS else case)
        findings += differing(run, other.answers, name, ANSWER_COLUMNS)
    return CaseVerdict(case.id, exercised, tuple(findings)), run


CONTROLLER = Role(
    "controller", REQUIREMENTS, tried, lambda attachment, case: str(attachment.cannot_be_told(case))
)


def tried_again(case: Any, names: Collection[str]) -> list[str]:
    """The requirements for whose sake a case is run a second time; their ids."""
    return [name for name in (CUTS, FRESH) if name in case.requirements and name in names]


def differing(run: Any, other: Any, name: str, columns: Sequence[str]) -> list[Finding]:
    """What is found where a case was run twice: one finding where the answers differ, or none.

    Args:
        run: the first run.
        other: the answers of the second.
        name: id of the requirement for whose sake it was run twice.
        columns: names of the columns of the answers.
    """
    difference = _difference(run.answers, other, columns)
    return [] if difference is None else [_differs(run, difference, name)]


def _difference(
    answers: Any, other: Any, columns: Sequence[str]
) -> tuple[int, str, object, object] | None:
    """The first row, with its column, in which two answers to the same case differ."""
    found = []
    for name in columns:
        one, two = getattr(answers, name), getattr(other, name)
        if one is None or two is None:
            continue
        rows = np.flatnonzero(one != two)
        if len(rows):
            found.append((int(rows[0]), name, one[rows[0]], two[rows[0]]))
    return min(found, key=lambda row: row[0]) if found else None


def _differs(run: Any, difference: tuple[int, str, object, object], name: str) -> Finding:
    k, column, one, two = difference
    why = (
        "cut into messages in another way"
        if name == CUTS
        else "run a second time after a new start"
    )
    return Finding(
        requirement=name,
        case=run.case.id,
        t=float(run.case.trace.t[k]),
        index=k,
        observed=f"{column} {two}",
        expected=f"{column} {one}",
        margin=0.0,
        unit="",
        sentence=f"The same trace, {why}, was answered differently: {column} {two}, not {one}.",
    )
