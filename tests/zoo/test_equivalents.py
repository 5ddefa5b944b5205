"""What is said never to be found is never found, and what is said to be the same is the same."""

from __future__ import annotations

from itertools import islice

import pytest

from harness.run import Case
from harness.strategies.sweep import Swept, sweep
from harness.zoo.matrix import Known, answers_to, finds, same, without_faults
from harness.zoo.mutants import Mutant, mutants
from harness.zoo.mutants.attachment import MutantAttachment
from harness.zoo.mutants.equivalents import LISTED, SAME_CODE, SLACK, Reason, reason
from harness.zoo.mutants.operators import NEGATE
from harness.zoo.mutants.proofs import differs_by_slack_only, same_code
from harness.zoo.mutants.syntax import compiled, tree_of

BY_NAME = {mutant.name: mutant for mutant in mutants()}
REASONS: dict[str, Reason] = {
    name: found for name, mutant in BY_NAME.items() if (found := reason(mutant)) is not None
}
SWEPT, SEED = 300, 4711


@pytest.fixture(scope="module")
def right(cases: tuple[Case, ...]) -> Known:
    """What the reference answers to the vectors."""
    return without_faults(cases)[1]


@pytest.fixture(scope="module")
def swept() -> tuple[Swept, ...]:
    """Some traces that nobody chose."""
    return tuple(islice(sweep(SEED), SWEPT))


def test_the_list_names_mutants_that_there_are() -> None:
    assert set(LISTED) - set(BY_NAME) == set()
    assert all(each.text for each in LISTED.values())
    assert not any(each.proved for each in LISTED.values())


def test_what_is_proved_is_not_listed_too() -> None:
    assert {name for name, each in REASONS.items() if each.proved} & set(LISTED) == set()


@pytest.mark.parametrize("name", sorted(name for name, each in REASONS.items() if each.exact))
def test_an_equivalent_one_answers_as_the_reference_does(
    name: str, cases: tuple[Case, ...], right: Known, swept: tuple[Swept, ...]
) -> None:
    with MutantAttachment(BY_NAME[name]) as attachment:
        answers = answers_to(attachment, cases)
        assert [case.id for case in cases if not same(answers[case.id], right[case.id])] == []
        others = answers_to(attachment, [each.case for each in swept])
    assert [each.case.id for each in swept if not same(others[each.case.id], each.said)] == []


@pytest.mark.parametrize("name", sorted(name for name, each in REASONS.items() if not each.exact))
def test_a_tolerated_one_raises_no_finding(
    name: str, cases: tuple[Case, ...], right: Known, swept: tuple[Swept, ...]
) -> None:
    with MutantAttachment(BY_NAME[name]) as attachment:
        for case in cases:
            assert not finds(attachment, case, right[case.id]), case.id
        for each in swept:
            assert not finds(attachment, each.case, each.said), each.case.id


def test_the_same_code_is_recognised_and_nothing_else() -> None:
    tree = tree_of("bulk")
    mutant = Mutant("x", NEGATE, "x", "x", frozenset(), compiled(tree), tree)
    assert same_code(mutant)
    assert reason(mutant) == Reason(SAME_CODE, proved=True)
    assert not any(same_code(each) for each in mutants())


def test_only_guards_of_times_differ_by_the_slack() -> None:
    proved = {name for name, mutant in BY_NAME.items() if differs_by_slack_only(mutant)}
    assert proved == {name for name, each in REASONS.items() if each.text == SLACK}
    assert "boundary-bulk-t-minus-since-s-ge-entry-dwell-s" in proved
    assert "boundary-decide-step-back-s-le-interval-s" in proved
    # The end of a wait is a stamp and a time from which the slack has been taken.
    assert "boundary-may-start-t-ge-upkeep-not-before-s" in proved
    # A voltage is compared exactly, and a guard that is turned round is no matter of slack.
    assert "boundary-bulk-level-v-ge-entry-v" not in proved
    assert "negate-bulk-t-minus-since-s-ge-entry-dwell-s" not in proved
    assert all(name.startswith("boundary-") for name in proved)
