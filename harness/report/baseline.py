"""What changed since a stored result, and whether anything got worse."""

from __future__ import annotations

from collections.abc import Iterable

from attrs import field, frozen

from harness.errors import InputError
from harness.report.result import Result
from harness.report.words import count, listed
from harness.run import Finding, Outcome

Pair = tuple[str, str]
MOST_CASES = 6
# What shows that a requirement was judged.
JUDGED = (Outcome.PASS, Outcome.FAIL)


@frozen
class Changes:
    """What is different from a stored result.

    A finding is known again by its requirement and its case: where it moved inside the case, or
    came twice, is no change.

    Attributes:
        called: the file that it was compared with.
        new: cases that break a requirement now and did not before, as `(requirement, case)`.
        gone: those that broke one before, ran again, and do not break it now.
        not_looked_at: those that broke one before, and were not tried this time.
        outcomes: requirements with another outcome: id, before, now.
        lost: cases that were judged before, and could not be now.
        added: cases that were tried now and not before.
        removed: cases that were tried before and not now.
        remarks: what else to know about the comparison.
        exit_code: 1 where something got worse, 3 where that could not be told, 0 otherwise.
    """

    called: str
    new: tuple[Pair, ...] = ()
    gone: tuple[Pair, ...] = ()
    not_looked_at: tuple[Pair, ...] = ()
    outcomes: tuple[tuple[str, str, str], ...] = ()
    lost: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    exit_code: int = field(default=0)

    def is_new(self, finding: Finding) -> bool:
        """Whether a finding is one of the new ones."""
        return (finding.requirement, finding.case) in self.new

    @property
    def sentence(self) -> str:
        """The sum of it."""
        if self.exit_code == 1:
            return "worse than before"
        if self.exit_code == 3:
            return "nothing worse was found, but not all that was judged before could be"
        return "nothing got worse"

    @property
    def lines(self) -> list[str]:
        """Everything that changed, one thing a line."""
        told = []
        for word, pairs in (
            ("new", self.new), ("gone", self.gone), ("not looked at", self.not_looked_at)
        ):  # fmt: skip
            for name, cases in _by_requirement(pairs).items():
                told.append(f"{word}: {name} in {listed(cases, MOST_CASES)}")
        told += [f"{name}: {before}, now {now}" for name, before, now in self.outcomes]
        for word, ids in (
            ("could not be judged now", self.lost),
            ("tried for the first time", self.added),
            ("no longer tried", self.removed),
        ):
            if ids:
                many = count(len(ids), "case")
                told.append(f"{many} {word}: {listed(list(ids), MOST_CASES)}")
        return [*(told or ["no finding, outcome or case is different"]), *self.remarks]


def changes_since(before: Result, now: Result, called: str) -> Changes:
    """What changed.

    Args:
        before: the stored result.
        now: the present one.
        called: what the stored one is called.

    Raises:
        InputError: they are of two roles.
    """
    if before.report.role != now.report.role:
        raise InputError(
            f"it holds a {before.report.role}, and this is a {now.report.role}",
            file=called,
            hint="compare with a result of the same role",
        )
    pairs_before, pairs_now = _pairs(before), _pairs(now)
    asked_now = {each.requirement for each in now.report.results if each.outcome in JUDGED}
    ran_now = set(now.tried) - set(now.report.errors)
    missing = [pair for pair in pairs_before if pair not in pairs_now]
    gone = [pair for pair in missing if pair[0] in asked_now and pair[1] in ran_now]
    new = tuple(pair for pair in pairs_now if pair not in pairs_before)
    lost = tuple(
        case
        for case in now.report.errors
        if case in before.tried and case not in before.report.errors
    )
    outcomes = tuple(_outcomes(before, now))
    unjudged = any(
        after in (Outcome.ERROR.value, Outcome.UNKNOWN.value) for _, _, after in outcomes
    )
    return Changes(
        called=called,
        new=new,
        gone=tuple(gone),
        not_looked_at=tuple(pair for pair in missing if pair not in gone),
        outcomes=outcomes,
        lost=lost,
        added=tuple(case for case in now.tried if case not in set(before.tried)),
        removed=tuple(case for case in before.tried if case not in set(now.tried)),
        remarks=tuple(_remarks(before, now)),
        exit_code=1 if new else 3 if lost or unjudged or not asked_now else 0,
    )


def _pairs(result: Result) -> dict[Pair, None]:
    return dict.fromkeys((each.requirement, each.case) for each in result.report.findings)


def _outcomes(before: Result, now: Result) -> Iterable[tuple[str, str, str]]:
    was = {each.requirement: each.outcome for each in before.report.results}
    for each in now.report.results:
        if each.requirement in was and was[each.requirement] is not each.outcome:
            yield each.requirement, was[each.requirement].value, each.outcome.value


def _remarks(before: Result, now: Result) -> Iterable[str]:
    one, two = before.report.identity, now.report.identity
    if one is not None and two is not None and (one.name, one.version) != (two.name, two.version):
        yield f"the {now.report.role} was {one.name} {one.version}, it is {two.name} {two.version}"
    if before.selection != now.selection:
        was, is_ = (" ".join(each.selection) or "everything" for each in (before, now))
        yield f"the selection was {was}, it is {is_}"
    if before.stopped:
        yield f"the stored run was not whole: {before.stopped}"
    if now.stopped:
        yield f"this run was not whole: {now.stopped}"


def _by_requirement(pairs: Iterable[Pair]) -> dict[str, list[str]]:
    together: dict[str, list[str]] = {}
    for name, case in pairs:
        together.setdefault(name, []).append(case)
    return together
