"""Workers that die, leave, raise and are told to stop, and what each of it costs."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import CancelledError
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from harness.study.executors import CountedExecutor, WorkerDiedError, in_process, local, workers_of
from tests.journeys.command_line import ROOT, environment
from tests.study import cheap_work
from tests.study.cheap_work import two_banks


@pytest.fixture(scope="module")
def pair() -> Iterator[CountedExecutor]:
    """Two workers for the tests that leave them alive or replaced."""
    with local(2) as executor:
        assert isinstance(executor, CountedExecutor)
        yield executor


@pytest.fixture
def marks(tmp_path: Path) -> Path:
    folder = tmp_path / "marks"
    folder.mkdir()
    return folder


def test_answers_are_those_of_this_process(pair: CountedExecutor) -> None:
    for item, future in [(item, pair.submit(two_banks, item)) for item in range(5)]:
        found, expected = future.result(timeout=60), two_banks(item)
        assert {name: column.tolist() for name, column in found.items()} == {
            name: column.tolist() for name, column in expected.items()
        }


def test_a_dead_worker_costs_its_own_item(pair: CountedExecutor, marks: Path) -> None:
    work = partial(cheap_work.killed_once, marks, (3,))
    futures = [pair.submit(work, item) for item in range(8)]
    errors = [future.exception(timeout=60) for future in futures]
    assert [type(error) for error in errors] == [
        WorkerDiedError if item == 3 else type(None) for item in range(8)
    ]
    assert str(errors[3]) == "the worker was ended by the signal SIGKILL"
    assert len(pair.submit(work, 3).result(timeout=60)["bank"]) == 6


def test_a_worker_that_ends_as_if_all_were_well_is_missed(pair: CountedExecutor) -> None:
    future = pair.submit(cheap_work.ends_as_if_well, 0, 0)
    assert str(future.exception(timeout=60)) == (
        "the worker ended with code 0 in the middle of an item"
    )
    assert len(pair.submit(two_banks, 0).result(timeout=60)) == 4


def test_a_worker_that_dies_while_it_answers_holds_nobody_up(pair: CountedExecutor) -> None:
    future = pair.submit(cheap_work.killed_while_answering, 200)
    others = [pair.submit(two_banks, item) for item in range(4)]
    assert isinstance(future.exception(timeout=60), WorkerDiedError)
    assert [len(other.result(timeout=60)) for other in others] == [4, 4, 4, 4]


def test_an_idle_worker_may_die(marks: Path) -> None:
    with local(1) as executor:
        executor.submit(partial(cheap_work.slow, marks, 0.0), 0).result(timeout=60)
        (process,) = cheap_work.processes(marks)
        os.kill(process, signal.SIGKILL)
        time.sleep(0.5)
        # Whether the death is told or was made good before is a matter of time; an answer comes.
        first = executor.submit(two_banks, 1).exception(timeout=60)
        assert first is None or isinstance(first, WorkerDiedError)
        assert len(executor.submit(two_banks, 1).result(timeout=60)["bank"]) == 6


def test_an_error_comes_back_as_it_was(pair: CountedExecutor) -> None:
    error = pair.submit(cheap_work.rows_of_banks, range(-1, 0)).exception(timeout=60)
    assert isinstance(error, ValueError)


def test_an_error_that_cannot_be_sent_comes_back_as_text(
    pair: CountedExecutor, marks: Path
) -> None:
    error = pair.submit(cheap_work.raises, marks, 1, 1).exception(timeout=60)
    assert isinstance(error, RuntimeError)
    assert str(error) == "UnsendableError: 1 is not 0"


def test_work_that_wants_to_leave_is_answered(pair: CountedExecutor) -> None:
    error = pair.submit(cheap_work.leaves, 0, 0).exception(timeout=60)
    assert isinstance(error, SystemExit)


def test_what_cannot_be_sent_is_told(pair: CountedExecutor) -> None:
    error = pair.submit(lambda: 1).exception(timeout=60)
    assert "pickle" in f"{type(error)} {error}".lower()


def test_workers_use_one_thread_each(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OMP_NUM_THREADS", "7")
    monkeypatch.delenv("MKL_NUM_THREADS", raising=False)
    with local(1) as executor:
        found = executor.submit(cheap_work.threads_here, 0).result(timeout=60)
    assert found["threads"].tolist() == [1, 1, 1, 1]
    assert os.environ["OMP_NUM_THREADS"] == "7"
    assert "MKL_NUM_THREADS" not in os.environ


def test_told_to_stop_it_does_not_wait_for_items(marks: Path) -> None:
    executor = local(1)
    running, waiting = (
        executor.submit(partial(cheap_work.slow, marks, 3600.0), item) for item in range(2)
    )
    while not cheap_work.times(marks, 0):
        time.sleep(0.01)
    executor.shutdown(wait=True, cancel_futures=True)
    for future in (running, waiting):
        with pytest.raises(CancelledError):
            future.result(timeout=0)
    (process,) = cheap_work.processes(marks)
    with pytest.raises(ProcessLookupError):
        os.kill(process, 0)
    with pytest.raises(RuntimeError, match="shut down"):
        executor.submit(two_banks, 0)


def test_a_shutdown_waits_for_what_was_asked() -> None:
    with local(1) as executor:
        futures = [executor.submit(two_banks, item) for item in range(3)]
    assert [future.done() and len(future.result()) for future in futures] == [4, 4, 4]


ABANDONED = """
import sys, time
from functools import partial
from pathlib import Path
from harness.study.executors import local
from tests.study.cheap_work import slow

if __name__ == "__main__":
    executor = local(2)
    for item in range(4):
        executor.submit(partial(slow, Path(sys.argv[1]), 0.5), item)
    time.sleep(3600)
"""


def test_workers_end_when_the_main_process_is_killed(tmp_path: Path, marks: Path) -> None:
    script = tmp_path / "abandoned.py"
    script.write_text(ABANDONED)
    with subprocess.Popen(
        [sys.executable, str(script), str(marks)], cwd=ROOT, env=environment()
    ) as process:
        deadline_s = time.monotonic() + 60
        while len(cheap_work.processes(marks)) < 2 and time.monotonic() < deadline_s:
            time.sleep(0.02)
        process.kill()
    workers = cheap_work.processes(marks)
    assert len(workers) == 2
    while (alive := {pid for pid in workers if running(pid)}) and time.monotonic() < deadline_s:
        time.sleep(0.05)
    assert alive == set()


def running(process: int) -> bool:
    """Whether a process is there and not merely waiting to be counted."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def test_in_this_process_calls_are_made_at_once(marks: Path) -> None:
    with in_process() as executor:
        done = executor.submit(two_banks, 2)
        failed = executor.submit(cheap_work.raises, marks, 1, 1)
        assert done.done()
        assert np.array_equal(done.result()["bank"], [4, 4, 4, 5, 5, 5])
        assert isinstance(failed.exception(), cheap_work.UnsendableError)
        assert workers_of(executor) == 1


def test_no_workers_are_no_executor() -> None:
    with pytest.raises(ValueError, match="0 workers; at least 1"):
        local(0)
