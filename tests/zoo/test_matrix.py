"""What is made of the matrix: who was found where, and which vectors are not needed."""

from __future__ import annotations

import pytest

from harness.zoo.faults import FAULTS
from harness.zoo.hunting import Find, Hunted, gathered
from harness.zoo.matrix import Row, cover, idle, redundant
from harness.zoo.mutants.operators import BOUNDARY, BY_HAND
from harness.zoo.subject import Subject, of_fault, subjects
from harness.zoo.whole import Whole

CASES = ("entry/a", "entry/b", "entry/c", "entry/d")
MADE = [each for each in subjects() if each.operator is BOUNDARY and each.reason is None]
EQUAL = next(each for each in subjects() if each.reason is not None and each.reason.exact)
ALLOWED = next(each for each in subjects() if each.reason is not None and not each.reason.exact)


def row(subject: Subject, *cases: str, requirement: str = "") -> Row:
    name = requirement or min(subject.breaks)
    return Row(subject, cases, {name: cases} if cases else {})


ONE, TWO, THREE = (of_fault(fault) for fault in FAULTS[:3])
ROWS = (row(ONE, "entry/a", "entry/b"), row(TWO, "entry/b", "entry/c"), row(THREE, "entry/c"))


def test_a_vector_that_finds_nothing_is_idle() -> None:
    assert idle(ROWS, CASES) == ["entry/d"]


def test_the_busiest_vectors_cover_the_rest() -> None:
    assert cover(ROWS, CASES) == ["entry/b", "entry/c"]
    assert redundant(ROWS, CASES) == ["entry/a"]
    assert cover((), CASES) == []


def test_a_find_elsewhere_does_not_kill() -> None:
    elsewhere = row(ONE, "entry/a", requirement="SOC.counts")
    assert elsewhere.cases == {"entry/a"}
    assert not elsewhere.killed
    assert row(ONE, "entry/a").killed


def whole(rows: tuple[Row, ...], finds: tuple[Find, ...] = ()) -> Whole:
    chosen = [each.subject for each in rows]
    return Whole(rows, gathered(chosen, finds), CASES, seeds=(0, 1), traces=100)


def test_the_tally_counts_by_operator_and_kind() -> None:
    result = whole(
        (
            row(MADE[0], "entry/a"),
            row(MADE[1]),
            row(EQUAL),
            row(ALLOWED),
            row(ONE, "entry/a", requirement="SOC.counts"),
        ),
        (
            Find(MADE[0].name, 1, 7, (min(MADE[0].breaks),)),
            Find(MADE[0].name, 0, 3, (min(MADE[0].breaks),)),
            Find(MADE[1].name, 0, None),
            Find(MADE[1].name, 1, 9, ("LINK.cuts",)),
        ),
    )
    total = result.tally()
    assert (total.real, total.by_vectors, total.named) == (3, 2, 1)
    assert (total.hunted, total.in_every_seed, total.in_some_seed) == (2, 1, 1)
    assert (total.exact, total.tolerated) == (1, 1)
    by_hand = result.tally(BY_HAND)
    assert (by_hand.real, by_hand.by_vectors, by_hand.named) == (1, 1, 0)
    assert [tally.operator for tally in result.tallies()][-2:] == [BY_HAND, None]
    assert [each.subject for each in result.missed] == [MADE[1]]
    assert [each.subject for each in result.elsewhere] == [ONE]
    assert result.refuted == ()


def test_a_reason_that_a_vector_refutes_is_told() -> None:
    result = whole((row(EQUAL, "entry/a"),))
    assert result.refuted == result.rows


def test_a_reason_that_the_hunt_refutes_is_told() -> None:
    result = whole((row(EQUAL),), (Find(EQUAL.name, 0, 5, ("SOC.counts",)),))
    assert [each.subject for each in result.refuted] == [EQUAL]


@pytest.mark.parametrize(
    ("traces", "found_in", "middle", "most"),
    [((3, 5, 100), 3, 5, 100), ((3, None, 4), 2, 4, None), ((None, None, 4), 1, None, None)],
)
def test_a_seed_without_a_find_takes_for_ever(
    traces: tuple[int | None, ...], found_in: int, middle: float | None, most: int | None
) -> None:
    finds = tuple(Find(ONE.name, seed, each) for seed, each in enumerate(traces))
    hunted = Hunted(ONE, finds)
    assert hunted.found_in == found_in
    assert hunted.median_traces == middle
    assert hunted.most_traces == most


def test_a_find_by_hand_may_be_named_by_its_group() -> None:
    entry = next(of_fault(fault) for fault in FAULTS if fault.requirement == "ENTRY.not-late")
    assert not entry.is_right("ENTRY.held-long-enough")
    assert entry.may_break("ENTRY.held-long-enough")
    assert not entry.may_break("SOC.counts")
    hunted = Hunted(entry, (Find(entry.name, 0, 1, ("SOC.counts", "ENTRY.held-long-enough")),))
    assert hunted.right_in == 1
