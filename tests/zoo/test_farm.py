"""Work on several processes: every result once, and no result lost without a word."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator

import pytest

from harness.zoo.farm import WorkerDiedError, farmed, workers_for


def twice(task: int) -> Iterator[tuple[int, int]]:
    yield task, os.getpid()
    yield task + 100, os.getpid()


def failing(task: int) -> Iterator[int]:
    yield task
    if task == 3:
        raise ValueError("three is too many")


def killed(task: int) -> Iterator[int]:
    if task == 1:
        os.kill(os.getpid(), signal.SIGKILL)
    yield task


@pytest.mark.parametrize("workers", [1, 2, 3, 9])
def test_every_task_is_worked_on_once(workers: int) -> None:
    results = list(farmed(range(5), twice, workers))
    assert sorted(value for value, _ in results) == [0, 1, 2, 3, 4, 100, 101, 102, 103, 104]
    elsewhere = {process for _, process in results} - {os.getpid()}
    assert len(elsewhere) == (0 if workers == 1 else min(workers, 5))


def test_no_task_is_no_work() -> None:
    assert list(farmed([], twice, 2)) == []


def test_a_failure_ends_the_whole() -> None:
    with pytest.raises(WorkerDiedError, match="ValueError: three is too many"):
        list(farmed(range(5), failing, 2))


def test_a_process_that_is_killed_is_noticed() -> None:
    with pytest.raises(WorkerDiedError, match="status -9"):
        list(farmed(range(2), killed, 2))


def test_there_are_no_more_processes_than_tasks() -> None:
    assert workers_for(1) == 1
    assert 1 <= workers_for(1000) <= (os.cpu_count() or 1)
