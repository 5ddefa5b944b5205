"""The hunt for a faulty controller: the same traces at every time, and no more than are needed."""

from __future__ import annotations

from itertools import islice

import pytest

from harness.attach import drive
from harness.judge import judge
from harness.strategies.sweep import sweep
from harness.zoo.hunting import Find, Ground, hunt
from harness.zoo.matrix import same
from harness.zoo.subject import Subject, subjects
from harness.zoo.whole import Whole, whole, work_to_do

BY_NAME = {subject.name: subject for subject in subjects()}
EASY = ("shift-entry-v-100mv-lower", "extra-counted-twice", "count-sign-reversed")
EQUAL = "drop-decide-happened-empty-reset"


def of(*names: str) -> tuple[Subject, ...]:
    return tuple(BY_NAME[name] for name in names)


@pytest.mark.parametrize("name", EASY)
def test_the_trace_of_a_find_shows_it_and_no_trace_before_does(name: str) -> None:
    found = hunt(BY_NAME[name], Ground(3, 200))
    assert found.traces is not None
    with BY_NAME[name].attached() as attachment:
        judged = [
            bool(judge(drive(attachment, each.case)).findings)
            for each in islice(sweep(3), found.traces)
        ]
    assert judged == [False] * (found.traces - 1) + [True]


def test_what_is_the_same_is_hunted_in_vain() -> None:
    assert hunt(BY_NAME[EQUAL], Ground(3, 60)) == Find(EQUAL, 3, None)


def test_a_ground_gives_the_same_traces_again() -> None:
    ground = Ground(5, 20)
    some = [each.case.id for each in islice(ground, 4)]
    every = [each.case.id for each in ground]
    assert len(every) == 20
    assert every[:4] == some
    assert every == [each.case.id for each in islice(sweep(5), 20)]


def test_the_answers_of_the_example_are_kept() -> None:
    ground = Ground(5, 20)
    case = next(iter(ground)).case
    once = ground.by_example(case)
    assert once is not None
    assert ground.by_example(case) is once
    assert same(once, once)


def result(workers: int) -> Whole:
    return whole(of(*EASY, EQUAL), seeds=(0, 1), traces=40, workers=workers)


def test_the_number_of_processes_does_not_matter() -> None:
    alone, shared = result(1), result(2)
    assert alone == shared
    assert [each.subject.name for each in alone.rows] == [*EASY, EQUAL]
    assert [each.found_in for each in alone.hunted] == [2, 2, 2, 0]
    assert all(row.killed for row in alone.rows[:3])
    assert not alone.rows[3].differs


def test_every_piece_of_work_is_told() -> None:
    told: list[str] = []
    chosen = of(EASY[0], "interval-lost-between-messages")
    whole(chosen, seeds=(0, 1, 2), traces=2, told=told.append, workers=1)
    # A fault of the link alone shows on no single trace.
    assert not BY_NAME["interval-lost-between-messages"].shows_on_traces
    assert len(told) == work_to_do(chosen, (0, 1, 2)) == 2 + 3


def test_an_interruption_keeps_what_was_done() -> None:
    done: list[str] = []

    def told(name: str) -> None:
        done.append(name)
        if len(done) == 2:
            raise KeyboardInterrupt

    cut = whole(of(*EASY), seeds=(0,), traces=40, told=told, workers=1)
    assert not cut.complete
    assert [row.subject.name for row in cut.rows] == [EASY[0]]
    assert cut.hunted == ()
