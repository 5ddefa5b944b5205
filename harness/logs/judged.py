"""A log is judged: nobody runs, the requirements are asked about what was recorded."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable

from attrs import evolve, field, frozen

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.judge import judge
from harness.logs.assembled import (
    identity_of,
    only_believable,
    patient,
    run_of,
    with_temperature,
    without_gaps,
)
from harness.logs.log import Log, PackLog
from harness.logs.observable import BY_REQUEST_V, OVERDUE, WITHOUT_HISTORY, View, in_every
from harness.logs.parts import Part, parts_of
from harness.logs.sampling import sampling_of, steps_of
from harness.logs.survivors import REQUESTS, beyond_rounding, survivors
from harness.logs.variants import snapped
from harness.rules import REQUIREMENTS, count
from harness.rules.absorption import ENDS, FULL_LENGTH, SAG
from harness.rules.life import lives
from harness.rules.requirement import Marks, Requirement
from harness.run import Finding, Identity, Outcome, Run
from harness.verdict import Report, RequirementResult

UNKNOWN_PAST = "what its timers showed when the log began is not known"


@frozen
class _Sum:
    """What the parts of a log say together."""

    exercised: Counter[str] = field(factory=Counter)
    cases: dict[str, list[str]] = field(factory=dict)
    findings: list[Finding] = field(factory=list)

    def add(self, case: str, exercised: Counter[str], findings: Iterable[Finding]) -> None:
        for name, times in exercised.items():
            if times > 0:
                self.exercised[name] += times
                seen = self.cases.setdefault(name, [])
                if case not in seen:
                    seen.append(case)
        self.findings.extend(findings)


def judge_log(
    log: Log,
    settings: Settings,
    *,
    spec: str = "",
    selected: Iterable[str] | None = None,
    tolerance_s: float = 0.0,
    progress: Callable[[str], None] | None = None,
) -> Report:
    """The verdict on what a log shows.

    Args:
        log: the log; every pack needs a column of stages.
        settings: what the controllers ran with.
        spec: how the log was named.
        selected: ids of the requirements to judge; None for all.
        tolerance_s: declared tolerance of the controllers' clocks, s.
        progress: called with the name of each pack before it is judged.
    """
    wanted = tuple(r for r in REQUIREMENTS if selected is None or r.id in set(selected))
    identity = identity_of(log)
    total = _Sum()
    reasons = []
    unknown: dict[str, str] = {}
    judged = 0
    for whole in log.packs:
        if progress is not None:
            progress(whole.name)
        pack, rows = (whole, None) if log.complete else only_believable(whole, settings)
        if not len(pack):
            unknown[pack.name] = "no row of it can be believed: are its units those of the mapping?"
            continue
        sampling = sampling_of(pack.trace.t, log.gap_s)
        view = View(pack, settings, sampling, steps_of(pack), log.complete)
        reasons.append(view.reasons())
        slack_s = tolerance_s + sampling.stamp_step_s
        if not log.complete:
            slack_s += sampling.longest_s
        for part in parts_of(
            pack, settings, sampling, complete=log.complete, from_power_up=log.from_power_up
        ):
            if not part.known:
                unknown[f"{pack.name}, {_lines(pack, part)}"] = UNKNOWN_PAST
            judged += 1
            exercised, findings = _part(log, view, part, identity, slack_s, frozenset(reasons[-1]))
            if rows is not None:
                findings = [evolve(f, index=int(rows[f.index])) for f in findings]
            total.add(pack.name, exercised, findings)
    hidden_in_all = in_every(reasons)
    return Report(
        spec=spec,
        identity=identity,
        results=tuple(_result(r, total, hidden_in_all, identity) for r in wanted),
        cases=judged,
        not_applicable=unknown,
    )


def _part(
    log: Log, view: View, part: Part, identity: Identity, slack_s: float, hidden: frozenset[str]
) -> tuple[Counter[str], list[Finding]]:
    """How often a part puts each requirement to the test, and what it shows to be wrong."""
    pack, settings, longest_s = view.log, view.settings, view.sampling.longest_s
    if not log.complete:
        settings = without_gaps(settings, longest_s)
    run = run_of(pack, settings, identity, part.start, part.stop, powered=log.complete)
    run = with_temperature(run, pack, part.start)
    asked = {r.id for r in REQUIREMENTS} - hidden
    if not part.known:
        asked &= WITHOUT_HISTORY
        if settings.compensation_v_per_c != 0.0:
            asked -= BY_REQUEST_V
    looks = [(asked, run)]
    if not log.complete:
        late = [(asked & names, patient(run, longest_s, dwells)) for names, dwells in OVERDUE]
        looks = [(asked - late[0][0] - late[1][0], run), *late]
    steps = {} if log.exact else view.steps
    # On a count that cannot be followed, each interval would be found wrong, and dropped again.
    without = (count.counts,) if count.COUNTS in hidden else ()
    exercised: Counter[str] = Counter()
    findings: list[Finding] = []
    for names, each in looks:
        if not names:
            continue
        looked_at = names if log.complete else names | set(SAG.values())
        verdict = judge(each, looked_at, tolerance_s=slack_s, without=without)
        found = list(verdict.findings)
        if not log.complete:
            found = [f for f in map(_without_sag, found) if f.requirement in names]
        asking = {name for name in names if name.startswith(REQUESTS)}
        if steps and any(f.requirement in asking for f in found):
            again = judge(snapped(each, steps), asking, tolerance_s=slack_s, without=without)
            found = [f for f in found if f.requirement not in asking] + list(again.findings)
        kept = [
            f
            for f in found
            if _is_settled(f, part, each)
            and beyond_rounding(f, steps)
            and not _may_be_abandoned(f, log)
        ]
        if kept:
            kept = survivors(
                kept,
                each,
                looked_at,
                complete=log.complete,
                steps=steps,
                tolerance_s=slack_s,
                without=without,
            )
        seen = Counter(verdict.exercised)
        for finding in found:
            if finding not in kept:
                # It was seen once as a decision, and once as a finding.
                seen[finding.requirement] = max(0, seen[finding.requirement] - 2)
        exercised += Counter({name: times for name, times in seen.items() if name in names})
        findings += kept
    if without and count.BOUNDS in asked:
        marks = _bounds(run)
        exercised += marks.exercised
        findings += marks.findings
    return exercised, [_placed(f, log, pack, part, run) for f in findings]


def _without_sag(finding: Finding) -> Finding:
    """A finding about a hold, where what a sag did to it cannot be told for lack of samples."""
    if finding.requirement not in SAG.values():
        return finding
    left = "->" in finding.observed
    return evolve(finding, requirement=FULL_LENGTH if left else ENDS)


def _bounds(run: Run) -> Marks:
    marks = Marks(run.case.id)
    for life in lives(run):
        count.bounds(life, marks)
    return marks


def _is_settled(finding: Finding, part: Part, run: Run) -> bool:
    """Whether a finding cannot depend on what was before the part."""
    if part.fresh or finding.requirement in WITHOUT_HISTORY:
        return True
    if any(0 < k <= finding.index for k in run.case.power_cycles):
        return True
    return finding.index > 0 and finding.t > part.settled_s


def _may_be_abandoned(finding: Finding, log: Log) -> bool:
    """Whether a hold that ended early in bulk may have been broken by what no row shows."""
    return (
        not log.complete
        and finding.requirement.startswith("HOLD.")
        and finding.observed.endswith(Stage.BULK.word)
    )


def _placed(finding: Finding, log: Log, pack: PackLog, part: Part, run: Run) -> Finding:
    """The finding with the row of the whole log, its line and its time."""
    row = part.start + finding.index
    where = f"line {pack.line_of(row)} of {pack.file.name}"
    when = log.clock_time(float(run.case.trace.t[finding.index]))
    if when is not None:
        where += f", {when.isoformat(sep=' ', timespec='seconds')}"
    return evolve(finding, index=row, detail=where)


def _lines(pack: PackLog, part: Part) -> str:
    return f"lines {pack.line_of(part.start)} to {pack.line_of(part.stop - 1)}"


def _result(
    requirement: Requirement, total: _Sum, hidden: dict[str, str], identity: Identity
) -> RequirementResult:
    name = requirement.id
    findings = [f for f in total.findings if f.requirement == name]
    reason = ""
    if findings:
        outcome = Outcome.FAIL
    elif name in hidden:
        outcome, reason = Outcome.NOT_OBSERVABLE, hidden[name]
    elif not requirement.features <= identity.features:
        outcome = Outcome.NOT_CLAIMED
    elif total.exercised[name]:
        outcome = Outcome.PASS
    else:
        outcome = Outcome.NOT_EXERCISED
    return RequirementResult(
        name,
        outcome,
        total.exercised[name],
        tuple(total.cases.get(name, ())),
        tuple(findings),
        reason=reason,
    )
