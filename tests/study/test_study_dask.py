"""A study on a cluster of Dask, on this machine: workers that die, and the same bytes."""

from __future__ import annotations

import gc
import hashlib
import os
import signal
import socket
import sys
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from harness.errors import InputError
from harness.study import cluster as cluster_module
from harness.study.executors import dask, in_process, local, workers_of
from harness.study.running import Job, Ran, run
from harness.study.store import Folder
from tests.study import cheap_work
from tests.study.cheap_work import two_banks

distributed: Any = pytest.importorskip("distributed")
# Where it serves its pages is of no interest here.
pytestmark = pytest.mark.filterwarnings("ignore:Port .* is already in use")


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """Two workers of one thread; one that is killed is replaced."""
    with made() as running:
        yield running


def made(workers: int = 2) -> Any:
    """A cluster; on a machine that is busy it may not come up in the time that Dask gives itself."""
    for left in reversed(range(5)):
        # As in `harness.study.cluster`: no client of a test before may be collected in the start.
        gc.collect()
        try:
            return distributed.LocalCluster(
                n_workers=workers,
                threads_per_worker=1,
                processes=True,
                host="127.0.0.1",
                dashboard_address=None,
                silence_logs=50,
            )
        except (AssertionError, RuntimeError, TimeoutError):
            if left == 0:
                raise
    raise AssertionError


@pytest.fixture
def marks(tmp_path: Path) -> Path:
    folder = tmp_path / "marks"
    folder.mkdir()
    return folder


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def locally(path: Path, items: int) -> str:
    with Folder(path, "abc", items, resume=False) as folder, local(2) as executor:
        assert run(Job("abc", items, two_banks), folder, executor).complete
        return digest(folder.compact())


def test_a_killed_worker_loses_nothing_and_the_bytes_are_those_of_local_workers(
    cluster: Any, tmp_path: Path, marks: Path
) -> None:
    work = partial(cheap_work.killed_once, marks, (3, 9))
    with Folder(tmp_path / "study", "abc", 20, resume=False) as folder:
        with dask(cluster.scheduler_address) as executor:
            assert workers_of(executor) == 2
            ran = run(Job("abc", 20, work), folder, executor)
        assert ran == Ran(20, 0, 20)
        found = digest(folder.compact())
    assert min(cheap_work.times(marks, 3), cheap_work.times(marks, 9)) >= 2
    assert found == locally(tmp_path / "local", 20)


def test_a_worker_killed_from_outside_in_mid_run_loses_nothing(
    cluster: Any, tmp_path: Path, marks: Path
) -> None:
    killed: list[int] = []

    def kill_one(_: object) -> None:
        if not killed and len(list(marks.iterdir())) >= 6:
            killed.append(cheap_work.processes(marks).pop())
            os.kill(killed[0], signal.SIGKILL)

    work = partial(cheap_work.slow, marks, 0.05)
    with Folder(tmp_path / "study", "abc", 30, resume=False) as folder:
        with dask(cluster.scheduler_address) as executor:
            ran = run(Job("abc", 30, work), folder, executor, progress=kill_one)
        assert (len(killed), ran) == (1, Ran(30, 0, 30))
        assert digest(folder.compact()) == locally(tmp_path / "local", 30)


def test_an_item_that_kills_every_worker_is_given_up(cluster: Any, tmp_path: Path) -> None:
    with distributed.Client(cluster.scheduler_address, set_as_default=False) as client:
        client.run_on_scheduler(allow_failures, 1)
        work = partial(cheap_work.always_killed, 1)
        with (
            Folder(tmp_path, "abc", 8, resume=False) as folder,
            dask(cluster.scheduler_address) as executor,
        ):
            ran = run(Job("abc", 8, work), folder, executor, tries=2)
        client.run_on_scheduler(allow_failures, 3)
    # Others that happened to be on the same workers are not given up for it.
    assert (ran.done, list(ran.failed)) == (7, [1]), ran
    assert ran.failed[1].startswith("2 workers ended over it, last: workers of tcp://127.0.0.1:")


def allow_failures(times: int, dask_scheduler: Any = None) -> None:
    dask_scheduler.allowed_failures = times


def test_an_error_in_the_work_is_told(cluster: Any, tmp_path: Path, marks: Path) -> None:
    with (
        Folder(tmp_path, "abc", 3, resume=False) as folder,
        dask(cluster.scheduler_address) as executor,
    ):
        work = partial(cheap_work.raises, marks, 2)
        ran = run(Job("abc", 3, work), folder, executor)
    assert ran.done == 2
    assert "2 is not 0" in ran.failed[2]
    assert cheap_work.times(marks, 2) == 1


def test_a_run_goes_on_elsewhere(cluster: Any, tmp_path: Path) -> None:
    with Folder(tmp_path / "study", "abc", 6, resume=False) as folder:
        for item in (1, 4):
            folder.add(item, two_banks(item))
    with Folder(tmp_path / "study", "abc", 6, resume=True) as folder:
        with dask(cluster.scheduler_address) as executor:
            assert run(Job("abc", 6, two_banks), folder, executor) == Ran(6, 2, 4)
        assert digest(folder.compact()) == locally(tmp_path / "local", 6)


def test_a_cluster_that_is_lost_ends_the_run_and_keeps_what_is_done(
    tmp_path: Path, marks: Path
) -> None:
    running = made()
    closed: list[bool] = []

    def close(progress: Any) -> None:
        if progress.done == 3 and not closed:
            closed.append(True)
            running.close()

    try:
        with (
            Folder(tmp_path / "study", "abc", 50, resume=False) as folder,
            dask(running.scheduler_address) as executor,
        ):
            job = Job("abc", 50, partial(cheap_work.slow, marks, 0.05))
            with pytest.raises(InputError) as caught:
                run(job, folder, executor, progress=close)
    finally:
        running.close()
    assert "the workers are gone; are they still running?; " in str(caught.value)
    with Folder(tmp_path / "study", "abc", 50, resume=True) as folder:
        assert 3 <= folder.done < 50
        assert f"{folder.done} of 50 items are kept: go on with --resume" in str(caught.value)
        ran = run(Job("abc", 50, two_banks), folder, in_process())
    assert ran.complete


def refused(address: str) -> str:
    with pytest.raises(InputError) as caught:
        dask(address, timeout_s=1.0)
    return str(caught.value)


def test_nobody_at_the_address_is_told_soon() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{taken.getsockname()[1]}"
        told = refused(address)
    assert told.startswith(f"--dask: no scheduler of Dask answers at '{address}': ")
    assert told.endswith("write tcp://host:port, as the scheduler shows it when it starts")


@pytest.mark.parametrize("address", ["", "here", "ftp://127.0.0.1:1", "tcp://127.0.0.1:port"])
def test_an_address_that_is_none_is_told(address: str) -> None:
    assert refused(address).startswith(f"--dask: no scheduler of Dask answers at {address!r}: ")


def test_someone_else_at_the_address_is_told() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        address = f"tcp://127.0.0.1:{other.getsockname()[1]}"
        assert refused(address).startswith(
            f"--dask: no scheduler of Dask answers at '{address}': it does not speak as one; "
        )


def test_a_cluster_without_workers_is_told() -> None:
    with made(workers=0) as empty:
        address = empty.scheduler_address
        assert refused(address) == (
            f"--dask: the cluster at {address} has no workers; start some: dask worker {address}"
        )


def test_workers_with_other_code_are_refused(cluster: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster_module, "_own_code", lambda: "another")
    told = refused(cluster.scheduler_address)
    assert told.startswith("--dask: the worker tcp://127.0.0.1:")
    assert "has other code than this process; install the same versions" in told


def test_a_worker_that_comes_later_with_other_code_is_refused(
    cluster: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    with dask(cluster.scheduler_address) as executor:
        monkeypatch.setattr(cluster_module, "_own_code", lambda: "another")
        error = executor.submit(two_banks, 0).exception(timeout=60)
    assert str(error) == "a worker has other code than the process that runs the study"


def test_without_dask_it_is_told_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    assert refused("tcp://127.0.0.1:1") == (
        "a cluster of Dask needs distributed; pip install 'fullproof[dask]'"
    )


def test_told_to_stop_it_does_not_wait_for_items(cluster: Any, marks: Path) -> None:
    executor = dask(cluster.scheduler_address)
    future = executor.submit(cheap_work.slow, marks, 2.0, 0)
    while not cheap_work.times(marks, 0):
        time.sleep(0.01)
    executor.shutdown(wait=True, cancel_futures=True)
    assert future.cancelled()
