"""Each fault is one change that fits, and breaks a requirement that there is."""

from __future__ import annotations

import re
from collections import Counter

import pytest

from harness.rules import REQUIREMENTS
from harness.zoo.build import EXAMPLES, fault_named, python_controller, source_with
from harness.zoo.fault import Fault, FaultError
from harness.zoo.faults import C_FAULTS, FAULTS
from harness.zoo.variants import VARIANTS

EVERY = FAULTS + C_FAULTS + VARIANTS
# A controller in Python has no program to start and to stop, and no lines to get wrong; programs
# that do are in `harness.zoo.saboteurs`.
OF_PROGRAMS_ONLY = {
    "LINK.greets",
    "LINK.starts",
    "LINK.answers",
    "LINK.sequence",
    "LINK.rows",
    "LINK.stays-alive",
    "LINK.stops",
}


@pytest.mark.parametrize("fault", EVERY, ids=lambda fault: fault.name)
def test_the_text_to_replace_occurs_once(fault: Fault) -> None:
    source = EXAMPLES[fault.language].read_text(encoding="utf-8")
    assert source.count(fault.old) == 1
    assert source_with(fault) != source
    assert source_with(fault).count("\n") - source.count("\n") <= 5


def test_a_fault_that_does_not_fit_is_refused() -> None:
    nowhere = Fault("nowhere", "HOLD.ends", "none", old="no such text", new="", why="none")
    with pytest.raises(FaultError, match="occurs 0 times"):
        source_with(nowhere)
    twice = Fault("twice", "HOLD.ends", "none", old="def ", new="", why="none")
    with pytest.raises(FaultError, match=r"occurs 1[0-9] times"):
        source_with(twice)


def test_an_unknown_name_is_refused_with_the_nearest() -> None:
    with pytest.raises(FaultError, match="hold-one-minute-short"):
        fault_named("hold-one-minute-shot")


def test_names_are_slugs_and_used_once() -> None:
    names = Counter(fault.name for fault in EVERY)
    assert [name for name, times in names.items() if times > 1] == []
    assert [name for name in names if not re.fullmatch(r"[a-z]+(-[a-z0-9]+)+", name)] == []


def test_no_fault_stands_there_twice() -> None:
    changes = Counter((fault.language, fault.old, fault.new) for fault in EVERY)
    assert [change for change, times in changes.items() if times > 1] == []


def test_every_requirement_is_broken_by_a_fault() -> None:
    known = {requirement.id for requirement in REQUIREMENTS}
    broken = {fault.requirement for fault in FAULTS}
    assert broken - known == set()
    assert known - broken == OF_PROGRAMS_ONLY


def test_every_fault_says_what_it_does_and_why() -> None:
    for fault in EVERY:
        assert fault.title
        assert not fault.title.endswith(".")
        assert fault.why.endswith(".")


def test_there_are_enough() -> None:
    assert len(FAULTS) >= 40
    assert len(C_FAULTS) >= 3


def test_two_controllers_share_nothing() -> None:
    fault = fault_named("variables-kept-over-starts")
    assert python_controller(fault) is not python_controller(fault)
    assert python_controller(fault).name == "example-python with variables-kept-over-starts"
    assert python_controller().name == "example-python"
