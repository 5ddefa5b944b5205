"""The vectors alone find every mutant that can be found, in a requirement that it may break."""

from __future__ import annotations

import pytest

from harness.run import Case
from harness.zoo.matrix import Known, finds, without_faults
from harness.zoo.subject import Subject, subjects

MADE = tuple(each for each in subjects() if not each.by_hand and each.reason is None)
# So that several processes can share the work.
PARTS = 24


@pytest.fixture(scope="module")
def right(cases: tuple[Case, ...]) -> Known:
    """What the reference answers to the vectors."""
    return without_faults(cases)[1]


def first_found(subject: Subject, cases: tuple[Case, ...], right: Known) -> str:
    """The first vector that finds it in a requirement that it may break; empty where none does."""

    def elsewhere(case: Case) -> bool:
        return not any(map(subject.is_right, case.requirements))

    with subject.attached() as attachment:
        for case in sorted(cases, key=elsewhere):
            found = finds(attachment, case, right[case.id]) or ()
            if any(map(subject.is_right, found)):
                return case.id
    return ""


@pytest.mark.parametrize("part", range(PARTS))
def test_every_mutant_is_found(part: int, cases: tuple[Case, ...], right: Known) -> None:
    mine = MADE[part::PARTS]
    missed = {each.name for each in mine if not first_found(each, cases, right)}
    assert missed == set()
