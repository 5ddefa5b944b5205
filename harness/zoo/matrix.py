"""Which fault is found by which case, and under which requirement."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

import numpy as np
from attrs import field, frozen

from harness.attach import Attachment, LinkFault, drive
from harness.judge import judge
from harness.run import ANSWER_COLUMNS, Answers, Case, Run
from harness.verify import verify
from harness.zoo.fault import Fault
from harness.zoo.mutants.attachment import MutantAttachment
from harness.zoo.subject import Subject, attached, of_fault

Known = Mapping[str, Answers | None]


@frozen
class Row:
    """What the cases say of one faulty controller.

    Attributes:
        subject: the faulty controller.
        differs: ids of the cases that it answers in another way than it would without its fault.
        found: ids of the requirements with a finding, each with the ids of its cases.
    """

    subject: Subject
    differs: tuple[str, ...]
    found: Mapping[str, tuple[str, ...]] = field(factory=dict)

    @property
    def killed(self) -> bool:
        """Whether it is found in a requirement that it breaks."""
        return any(self.subject.is_right(name) for name in self.found)

    @property
    def cases(self) -> frozenset[str]:
        """Ids of the cases with a finding."""
        return frozenset(case for cases in self.found.values() for case in cases)


def answers_to(attachment: Attachment, cases: Iterable[Case]) -> dict[str, Answers | None]:
    """The answers to each case by its id; None where the controller failed to answer."""
    answers: dict[str, Answers | None] = {}
    for case in cases:
        try:
            answers[case.id] = drive(attachment, case).answers
        except LinkFault:
            attachment.restart()
            answers[case.id] = None
    return answers


def same(one: Answers | None, other: Answers | None) -> bool:
    """Whether two answers to the same case are the same to the last bit."""
    if one is None or other is None:
        return one is other
    return all(
        np.array_equal(getattr(one, name), getattr(other, name), equal_nan=name != "stage")
        for name in ANSWER_COLUMNS
    )


def without_faults(cases: Sequence[Case]) -> tuple[Known, Known]:
    """The answers of the example and of the reference, each as it is."""
    with attached(None) as example, MutantAttachment(None) as reference:
        return answers_to(example, cases), answers_to(reference, cases)


def examine(subject: Subject | Fault, cases: Sequence[Case], right: Known) -> Row:
    """Try a faulty controller on every case.

    Only the cases that it answers in another way than it would without its fault are judged: the
    same answers to the same case have the same verdict, and that verdict is tested apart.

    Args:
        subject: the faulty controller.
        cases: what to try.
        right: the answers without the fault, by case.
    """
    tried = of_fault(subject) if isinstance(subject, Fault) else subject
    with tried.attached() as attachment:
        if not tried.shows_on_traces or tried.by_hand:
            differs, found = _verified(attachment, cases, right)
        else:
            differs, found = _judged(attachment, cases, right)
    return Row(
        tried,
        tuple(differs),
        {name: tuple(dict.fromkeys(where)) for name, where in found.items()},
    )


Found = dict[str, list[str]]


def _verified(
    attachment: Attachment, cases: Sequence[Case], right: Known
) -> tuple[list[str], Found]:
    """By all that `verify` does, which tries the link as well."""
    answers = answers_to(attachment, cases)
    differing = [case for case in cases if not same(answers[case.id], right[case.id])]
    found: Found = {}
    if differing:
        for finding in verify(attachment, differing).findings:
            found.setdefault(finding.requirement, []).append(finding.case)
    return [case.id for case in differing], found


def _judged(attachment: Attachment, cases: Sequence[Case], right: Known) -> tuple[list[str], Found]:
    """By the judge alone, which is faster: a mutant has no link of its own."""
    differs: list[str] = []
    found: Found = {}
    for case in cases:
        requirements = finds(attachment, case, right[case.id])
        if requirements is None:
            continue
        differs.append(case.id)
        for name in requirements:
            found.setdefault(name, []).append(case.id)
    return differs, found


def finds(attachment: Attachment, case: Case, right: Answers | None) -> tuple[str, ...] | None:
    """The requirements that one case finds broken; None where the answers are the right ones."""
    try:
        run: Run = drive(attachment, case)
    except LinkFault as fault:
        attachment.restart()
        return (fault.requirement,)
    if same(run.answers, right):
        return None
    return tuple(dict.fromkeys(finding.requirement for finding in judge(run).findings))


def matrix(subjects: Sequence[Subject], cases: Sequence[Case]) -> Iterator[Row]:
    """Try every faulty controller on every case, one row each."""
    example, reference = without_faults(cases)
    for subject in subjects:
        yield examine(subject, cases, example if subject.by_hand else reference)


def idle(rows: Sequence[Row], cases: Sequence[str]) -> list[str]:
    """Those of the ids of cases that find no fault."""
    busy = frozenset[str]().union(*(row.cases for row in rows))
    return [case for case in cases if case not in busy]


def cover(rows: Sequence[Row], cases: Sequence[str]) -> list[str]:
    """Cases that together find all that all of them find, chosen greedily: the busiest first."""
    wanted = {row.subject.name for row in rows if row.cases}
    finds_of: dict[str, set[str]] = {case: set() for case in cases}
    for row in rows:
        for case in row.cases:
            finds_of[case].add(row.subject.name)
    chosen: list[str] = []
    while wanted:
        best = max(cases, key=lambda case: len(finds_of[case] & wanted))
        chosen.append(best)
        wanted -= finds_of[best]
    return chosen


def redundant(rows: Sequence[Row], cases: Sequence[str]) -> list[str]:
    """Cases that find something, and nothing that the chosen ones do not."""
    kept, none = set(cover(rows, cases)), set(idle(rows, cases))
    return [case for case in cases if case not in kept and case not in none]


def summary(rows: Sequence[Row], cases: Sequence[str]) -> str:
    """The matrix as text: one line a fault, then what was not found, and what finds nothing."""
    width = max(len(row.subject.name) for row in rows)
    lines = []
    for row in rows:
        mark = "found " if row.killed else "MISSED"
        where = ", ".join(f"{name} ({len(ids)})" for name, ids in sorted(row.found.items()))
        breaks = ", ".join(sorted(row.subject.breaks))
        lines.append(f"{mark} {row.subject.name:<{width}}  {breaks}: {where or '-'}")
    killed = sum(row.killed for row in rows)
    lines.append(f"\n{killed} of {len(rows)} faults found in the requirement that they break")
    named: tuple[tuple[str, Callable[[Row], bool]], ...] = (
        ("found elsewhere only", lambda row: bool(row.found) and not row.killed),
        ("not found", lambda row: bool(row.differs) and not row.found),
        ("no different from the example", lambda row: not row.differs),
    )
    parts = [(title, [r.subject.name for r in rows if holds(r)]) for title, holds in named]
    for title, names in (*parts, ("vectors that find nothing", idle(rows, cases))):
        if names:
            lines.append(f"{title}: {', '.join(names)}")
    return "\n".join(lines)
