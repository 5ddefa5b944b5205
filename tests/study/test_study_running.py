"""A run that loses workers, fails, is interrupted or killed: what it costs, and the same rows."""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from harness.errors import InputError
from harness.study.executors import CountedExecutor, in_process, local
from harness.study.running import Job, Progress, Ran, run
from harness.study.store import Folder
from tests.journeys.command_line import ROOT, environment
from tests.study import cheap_work
from tests.study.cheap_work import Columns, item_of, two_banks

parquet = pytest.importorskip("pyarrow.parquet")

Work = Callable[[int], Columns]


@pytest.fixture
def marks(tmp_path: Path) -> Path:
    folder = tmp_path / "marks"
    folder.mkdir()
    return folder


def done(
    path: Path, items: int, work: Work, executor: Executor, **options: Any
) -> tuple[Ran, Folder]:
    """Run it all, and let go of the folder."""
    resume = options.pop("resume", False)
    with Folder(path, "abc", items, resume=resume) as folder:
        return run(Job("abc", items, work), folder, executor, **options), folder


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def plain(path: Path, items: int) -> str:
    """What one process makes of it."""
    ran, folder = done(path, items, two_banks, in_process())
    assert ran == Ran(items, 0, items)
    return digest(folder.compact())


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_any_number_of_workers_gives_the_same_bytes(tmp_path: Path, workers: int) -> None:
    with local(workers) as executor:
        ran, folder = done(tmp_path / "one", 11, two_banks, executor)
        other = partial(item_of, 22, 5)
        _, by_other_cut = done(tmp_path / "other", 5, other, executor)
    assert ran.complete
    assert ran.how_to_go_on == ""
    expected = plain(tmp_path / "plain", 11)
    assert digest(folder.compact()) == expected
    assert digest(by_other_cut.compact()) == expected


def test_a_killed_worker_costs_its_item_and_that_is_done_again(tmp_path: Path, marks: Path) -> None:
    work = partial(cheap_work.killed_once, marks, (0, 4))
    with local(2) as executor:
        ran, folder = done(tmp_path / "study", 10, work, executor)
    assert ran == Ran(10, 0, 10, deaths=2)
    assert [cheap_work.times(marks, item) for item in range(10)] == [2, 1, 1, 1, 2, 1, 1, 1, 1, 1]
    assert digest(folder.compact()) == plain(tmp_path / "plain", 10)


def test_an_item_that_kills_every_worker_is_given_up(tmp_path: Path) -> None:
    with local(2) as executor:
        ran, folder = done(tmp_path, 5, partial(cheap_work.always_killed, 2), executor, tries=2)
    reason = "2 workers ended over it, last: the worker was ended by the signal SIGKILL"
    assert ran == Ran(5, 0, 4, {2: reason}, 2)
    assert not ran.complete
    assert ran.how_to_go_on == "4 of 5 items are kept: go on with --resume"
    assert list(folder.missing()) == [2]


def test_an_item_that_raises_is_given_up_at_once(tmp_path: Path, marks: Path) -> None:
    work = partial(cheap_work.raises, marks, 1)
    for name, executor in (("here", in_process()), ("there", local(1))):
        with executor:
            ran, _ = done(tmp_path / name, 3, work, executor)
        assert ran.done == 2
        assert ran.failed[1].endswith("UnsendableError: 1 is not 0")
    assert cheap_work.times(marks, 1) == 2
    with local(1) as executor:
        ran, _ = done(tmp_path / "there", 3, two_banks, executor, resume=True)
    assert ran == Ran(3, 2, 1)


def test_work_that_wants_to_leave_does_not_end_the_run(tmp_path: Path) -> None:
    for name, executor in (("here", in_process()), ("there", local(1))):
        with executor:
            ran, _ = done(tmp_path / name, 3, partial(cheap_work.leaves, 1), executor)
        assert ran == Ran(3, 0, 2, {1: "SystemExit: 0"})


def test_progress_counts_every_item_once(tmp_path: Path, marks: Path) -> None:
    seen: list[Progress] = []
    work = partial(cheap_work.raises, marks, 3)
    with Folder(tmp_path / "study", "abc", 6, resume=False) as folder:
        folder.add(5, two_banks(5))
        ran = run(Job("abc", 6, work), folder, in_process(), progress=seen.append)
    assert [(p.done, p.failed, p.left) for p in seen] == [
        (0, 0, 5), (1, 0, 4), (2, 0, 3), (3, 0, 2), (3, 1, 1), (4, 1, 0),
    ]  # fmt: skip
    assert {(p.items, p.kept) for p in seen} == {(6, 1)}
    assert (ran.kept, ran.done, list(ran.failed)) == (1, 4, [3])


def test_in_one_process_each_item_is_kept_before_the_next_begins(
    tmp_path: Path, marks: Path
) -> None:
    work = partial(cheap_work.slow, marks, 0.0)
    begun: list[tuple[int, int]] = []
    done(
        tmp_path / "study",
        4,
        work,
        in_process(),
        progress=lambda p: begun.append((p.done, len(list(marks.iterdir())))),
    )
    assert begun == [(0, 0), (1, 1), (2, 2), (3, 3), (4, 4)]


class Counting(CountedExecutor):
    """Says how many calls it ever had at the same time, and answers the latest first.

    Attributes:
        most: that many.
    """

    workers = 3

    def __init__(self, calls: int, enough: int) -> None:
        self._pool = ThreadPoolExecutor(1)
        self._waiting: list[tuple[Future[Any], Callable[..., Any], tuple[Any, ...]]] = []
        self._to_come = calls
        self._enough = enough
        self._called = threading.Condition()
        self.most = 0

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        with self._called:
            self._waiting.append((future, partial(fn, **kwargs), args))
            self.most = max(self.most, len(self._waiting))
            self._to_come -= 1
            self._called.notify()
        self._pool.submit(self._answer_one)
        return future

    def _answer_one(self) -> None:
        with self._called:
            # However slow the machine is, nothing is answered before as many are out as may be.
            assert self._called.wait_for(self._all_are_out, timeout=60)
        time.sleep(0.002)  # here one too many would come
        with self._called:
            future, fn, args = self._waiting.pop()
        future.set_result(fn(*args))

    def _all_are_out(self) -> bool:
        return len(self._waiting) >= self._enough or self._to_come == 0


def test_few_items_are_out_at_a_time_and_their_order_is_no_matter(tmp_path: Path) -> None:
    executor = Counting(calls=40, enough=6)
    ran, folder = done(tmp_path / "study", 40, two_banks, executor, ahead=2)
    assert ran.complete
    assert executor.most == 6
    assert digest(folder.compact()) == plain(tmp_path / "plain", 40)


class Broken(Executor):
    """Breaks at a call: when it is made, or when it is answered."""

    workers = 1

    def __init__(self, *, at_once: bool) -> None:
        self._at_once = at_once

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        if args == (2,) and self._at_once:
            raise BrokenExecutor("no more")
        if args == (2,):
            future.set_exception(BrokenExecutor("no more"))
        else:
            future.set_result(fn(*args, **kwargs))
        return future


@pytest.mark.parametrize(("at_once", "missing"), [(False, [2, 4]), (True, [2, 3, 4])])
def test_a_lost_executor_ends_the_run_and_keeps_what_is_done(
    tmp_path: Path, at_once: bool, missing: list[int]
) -> None:
    with pytest.raises(InputError) as caught:
        done(tmp_path, 5, two_banks, Broken(at_once=at_once))
    assert str(caught.value).startswith(
        "the workers are gone: BrokenExecutor: no more; are they still running?; "
    )
    kept = 5 - len(missing)
    assert str(caught.value).endswith(f"; {kept} of 5 items are kept: go on with --resume")
    with Folder(tmp_path, "abc", 5, resume=True) as folder:
        assert list(folder.missing()) == missing


def test_a_disk_that_fills_up_ends_the_run_and_keeps_what_is_done(tmp_path: Path) -> None:
    with local(1) as executor, Folder(tmp_path, "abc", 9, resume=False) as folder:
        full = tmp_path / "parts" / "00000004.parquet.unfinished"
        full.symlink_to("/dev/full")
        with pytest.raises(InputError) as caught:
            run(Job("abc", 9, two_banks), folder, executor)
    assert str(caught.value) == (
        f"{tmp_path / 'parts' / '00000004.parquet'}: no space is left on the disk; make room; "
        "4 of 9 items are kept: go on with --resume"
    )
    with local(1) as executor:
        ran, folder = done(tmp_path, 9, two_banks, executor, resume=True)
    assert ran == Ran(9, 4, 5)


def test_a_run_of_another_study_is_refused(tmp_path: Path) -> None:
    with Folder(tmp_path, "abc", 3, resume=False) as folder:
        for job in (Job("xyz", 3, two_banks), Job("abc", 4, two_banks)):
            with pytest.raises(ValueError, match="the folder is of study abc in 3 items"):
                run(job, folder, in_process())
        with pytest.raises(ValueError, match="tries 0 and ahead 2; at least 1"):
            run(Job("abc", 3, two_banks), folder, in_process(), tries=0)


SCRIPT = """
import sys
from functools import partial
from pathlib import Path
from harness.study.executors import in_process, local
from harness.study.running import Job, run
from harness.study.store import Folder
from tests.study.cheap_work import slow

if __name__ == "__main__":
    path, marks, workers, seconds = Path(sys.argv[1]), Path(sys.argv[2]), *sys.argv[3:]
    with (
        Folder(path, "abc", 30, resume=True) as folder,
        local(int(workers)) if int(workers) else in_process() as executor,
    ):
        ran = run(Job("abc", 30, partial(slow, marks, float(seconds))), folder, executor)
    print(ran.interrupted, ran.how_to_go_on, flush=True)
    sys.exit(130 if ran.interrupted else 0)
"""


def started(path: Path, marks: Path, workers: int, seconds: float) -> subprocess.Popen[str]:
    script = path.with_suffix(".py")
    script.write_text(SCRIPT)
    return subprocess.Popen(
        [sys.executable, str(script), str(path), str(marks), str(workers), str(seconds)],
        cwd=ROOT,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def until(condition: Callable[[], bool]) -> None:
    deadline_s = time.monotonic() + 60
    while not condition():
        assert time.monotonic() < deadline_s, "it never came to that"
        time.sleep(0.02)


def parts(path: Path) -> int:
    return len(list(path.glob("parts/*.parquet")))


@pytest.mark.parametrize("workers", [0, 2])
def test_a_killed_run_goes_on_and_ends_with_the_same_bytes(
    tmp_path: Path, marks: Path, workers: int
) -> None:
    path = tmp_path / "study"
    with started(path, marks, workers, 0.1) as process:
        until(lambda: parts(path) >= 4)
        process.kill()
    kept = parts(path)
    assert 4 <= kept < 30
    with local(2) as executor:
        ran, folder = done(path, 30, two_banks, executor, resume=True)
    assert ran == Ran(30, kept, 30 - kept)
    assert digest(folder.compact()) == plain(tmp_path / "plain", 30)


@pytest.mark.parametrize(("workers", "seconds"), [(0, 0.3), (2, 0.3)])
def test_an_interruption_keeps_what_is_done_and_tells_how_to_go_on(
    tmp_path: Path, marks: Path, workers: int, seconds: float
) -> None:
    path = tmp_path / "study"
    with started(path, marks, workers, seconds) as process:
        until(lambda: parts(path) >= 3)
        # As a terminal does it: to the workers as well.
        interrupt_group(process)
        out, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (130, "")
    kept = parts(path)
    assert 3 <= kept < 30
    assert out == f"True {kept} of 30 items are kept: go on with --resume\n"
    assert not list(path.glob("**/*.unfinished"))


def interrupt_group(process: subprocess.Popen[str]) -> None:

    os.killpg(process.pid, signal.SIGINT)


def test_an_interruption_does_not_wait_for_long_items(tmp_path: Path, marks: Path) -> None:
    path = tmp_path / "study"
    with started(path, marks, 2, 3600.0) as process:
        until(lambda: len(list(marks.iterdir())) == 2)
        interrupt_group(process)
        out, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (130, "")
    assert out == "True 0 of 30 items are kept: go on with --resume\n"
