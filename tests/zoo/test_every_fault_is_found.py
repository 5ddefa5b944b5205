"""Each faulty controller differs from the example, and fails in the requirement that it breaks."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from harness.run import Case
from harness.zoo.fault import Fault
from harness.zoo.faults import FAULTS
from harness.zoo.matrix import Row, idle, summary
from harness.zoo.subject import of_fault

RowOf = Callable[[Fault], Row]
# Vectors that no fault of the zoo fails, each with what it is there for nevertheless.
FIND_NOTHING: dict[str, str] = {}


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_fault_is_found_in_the_requirement_that_it_breaks(fault: Fault, row_of: RowOf) -> None:
    row = row_of(fault)
    assert row.differs, "every vector is answered as by the example"
    assert fault.requirement in row.found, f"findings are about {sorted(row.found)}"
    assert row.killed


def test_every_vector_finds_a_fault(cases: tuple[Case, ...], row_of: RowOf) -> None:
    rows = [row_of(fault) for fault in FAULTS]
    assert set(idle(rows, [case.id for case in cases])) == set(FIND_NOTHING)


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
