"""Each faulty controller differs from the example, and fails in the requirement that it breaks."""

from __future__ import annotations

from contextlib import ExitStack

import pytest

from harness.attach import Attachment
from harness.run import Case
from harness.zoo.fault import Fault
from harness.zoo.faults import FAULTS
from harness.zoo.matrix import Known, Row, examine, finds, summary
from harness.zoo.subject import of_fault

# Vectors that no fault of the zoo fails, each with what it is there for nevertheless.
FIND_NOTHING: dict[str, str] = {}
# So that several processes can share the work.
PARTS = 8


def about(requirement: str, cases: tuple[Case, ...]) -> tuple[Case, ...]:
    """The vectors that put a requirement to the test; of the link every one does."""
    if requirement.startswith("LINK."):
        return cases
    return tuple(case for case in cases if requirement in case.requirements)


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_fault_is_found_in_the_requirement_that_it_breaks(
    fault: Fault, cases: tuple[Case, ...], example: Known
) -> None:
    row = examine(fault, about(fault.requirement, cases), example)
    if fault.requirement not in row.found:
        # A vector that is about something else may show it all the same.
        row = examine(fault, cases, example)
    assert row.differs, "every vector is answered as by the example"
    assert fault.requirement in row.found, f"findings are about {sorted(row.found)}"
    assert row.killed


def likely_first(case: Case) -> list[Fault]:
    """The faults, those in what the vector is about before the others."""
    groups = {name.partition(".")[0] for name in case.requirements}

    def place(fault: Fault) -> int:
        if fault.requirement in case.requirements:
            return 0
        return 1 if fault.requirement.partition(".")[0] in groups else 2

    return sorted(FAULTS, key=place)


@pytest.mark.parametrize("part", range(PARTS))
def test_every_vector_finds_a_fault(part: int, cases: tuple[Case, ...], example: Known) -> None:
    known: dict[str, Attachment] = {}
    idle = set()
    with ExitStack() as stack:

        def finds_it(fault: Fault, case: Case) -> bool:
            if fault.name not in known:
                known[fault.name] = stack.enter_context(of_fault(fault).attached())
            return bool(finds(known[fault.name], case, example[case.id]))

        for case in cases[part::PARTS]:
            if not any(finds_it(fault, case) for fault in likely_first(case)):
                idle.add(case.id)
    assert idle == set(FIND_NOTHING) & {case.id for case in cases[part::PARTS]}


def test_the_summary_tells_what_is_missed() -> None:
    one, two, three, four = map(of_fault, FAULTS[:4])
    found = Row(one, ("entry/one", "entry/two"), {FAULTS[0].requirement: ("entry/one",)})
    elsewhere = Row(two, ("entry/two",), {"SOC.counts": ("entry/two",)})
    unseen, same = Row(three, ("entry/two",), {}), Row(four, (), {})
    text = summary([found, elsewhere, unseen, same], ["entry/one", "entry/two", "entry/three"])
    assert "1 of 4 faults found in the requirement that they break" in text
    assert f"found elsewhere only: {FAULTS[1].name}\n" in text
    assert f"not found: {FAULTS[2].name}\n" in text
    assert f"no different from the example: {FAULTS[3].name}\n" in text
    assert text.endswith("vectors that find nothing: entry/three")
