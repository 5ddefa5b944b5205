"""Which fault is found by which case, and under which requirement."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from attrs import frozen

from harness.attach import Attachment, LinkFault, attach, drive
from harness.attach.python import PythonAttachment
from harness.run import ANSWER_COLUMNS, Answers, Case
from harness.verify import verify
from harness.zoo.build import python_controller
from harness.zoo.fault import Fault

LIMIT_S = 10.0


@frozen
class Row:
    """What the cases say of one faulty controller.

    Attributes:
        fault: the fault.
        differs: ids of the cases that it answers in another way than the example does.
        found: ids of the requirements with a finding, each with the ids of its cases.
    """

    fault: Fault
    differs: tuple[str, ...]
    found: Mapping[str, tuple[str, ...]]

    @property
    def killed(self) -> bool:
        """Whether it is found in the requirement that it breaks."""
        return self.fault.requirement in self.found

    @property
    def cases(self) -> frozenset[str]:
        """Ids of the cases with a finding."""
        return frozenset(case for cases in self.found.values() for case in cases)


def attached(fault: Fault | None) -> Attachment:
    """The Python example with a fault, or as it is; in process where that shows the fault."""
    if fault is not None and fault.in_messages:
        return attach(f"exec:{shlex.quote(sys.executable)} -m harness.zoo {fault.name}")
    name = "example" if fault is None else fault.name
    return PythonAttachment(f"zoo:{name}", python_controller(fault), LIMIT_S)


def answers_to(attachment: Attachment, cases: Sequence[Case]) -> dict[str, Answers | None]:
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


def examine(fault: Fault, cases: Sequence[Case], example: Mapping[str, Answers | None]) -> Row:
    """Try a faulty controller on every case.

    Only the cases that it answers in another way than the example are judged: the same answers to
    the same case have the same verdict, and the example's own verdict is tested apart.

    Args:
        fault: the fault.
        cases: what to try.
        example: the answers of the example without a fault, by case.
    """
    with attached(fault) as attachment:
        answers = answers_to(attachment, cases)
        differing = [case for case in cases if not same(answers[case.id], example[case.id])]
        found: dict[str, list[str]] = {}
        if differing:
            for finding in verify(attachment, differing).findings:
                found.setdefault(finding.requirement, []).append(finding.case)
    return Row(
        fault,
        tuple(case.id for case in differing),
        {name: tuple(dict.fromkeys(where)) for name, where in found.items()},
    )


def matrix(faults: Sequence[Fault], cases: Sequence[Case]) -> Iterator[Row]:
    """Try every faulty controller on every case, one row a fault."""
    with attached(None) as attachment:
        example = answers_to(attachment, cases)
    for fault in faults:
        yield examine(fault, cases, example)


def summary(rows: Sequence[Row], cases: Sequence[str]) -> str:
    """The matrix as text: one line a fault, then what was not found, and what finds nothing."""
    width = max(len(row.fault.name) for row in rows)
    lines = []
    for row in rows:
        mark = "found " if row.killed else "MISSED"
        where = ", ".join(f"{name} ({len(ids)})" for name, ids in sorted(row.found.items()))
        lines.append(f"{mark} {row.fault.name:<{width}}  {row.fault.requirement}: {where or '-'}")
    killed = sum(row.killed for row in rows)
    lines.append(f"\n{killed} of {len(rows)} faults found in the requirement that they break")
    for title, names in (
        ("found elsewhere only", [r.fault.name for r in rows if r.found and not r.killed]),
        ("not found", [r.fault.name for r in rows if r.differs and not r.found]),
        ("no different from the example", [r.fault.name for r in rows if not r.differs]),
        ("vectors that find nothing", idle(rows, cases)),
    ):
        if names:
            lines.append(f"{title}: {', '.join(names)}")
    return "\n".join(lines)


def idle(rows: Sequence[Row], cases: Sequence[str]) -> list[str]:
    """Those of the ids of cases that find no fault."""
    busy = frozenset[str]().union(*(row.cases for row in rows))
    return [case for case in cases if case not in busy]
