"""Where the items of a study are run: in this process, on the cores of this machine, on a cluster.

The seam is `concurrent.futures.Executor`: what runs a study knows nothing else of any of them, and
an executor of another library does as well.
"""

from __future__ import annotations

import os
from abc import abstractmethod
from collections.abc import Callable
from concurrent.futures import Executor, Future
from typing import Any, ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


class WorkerDiedError(Exception):
    """The process that had an item ended without an answer.

    Attributes:
        reason: how it ended.
        times: how many workers ended over the item.
        sure: whether no other item can have ended them.
    """

    def __init__(self, reason: str, times: int = 1, *, sure: bool = True) -> None:
        self.reason = reason
        self.times = times
        self.sure = sure
        super().__init__(reason)


class CountedExecutor(Executor):
    """An executor that says how many calls it can run at the same time."""

    @property
    @abstractmethod
    def workers(self) -> int:
        """How many calls run at the same time, at least 1."""


class InProcess(CountedExecutor):
    """Runs each call here, before `submit` returns."""

    @property
    def workers(self) -> int:
        """One."""
        return 1

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Run the call; an interruption by the user is not kept in the future but raised."""
        future: Future[T] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except (Exception, SystemExit) as error:
            future.set_exception(error)
        return future


def workers_of(executor: Executor) -> int:
    """How many calls it runs at the same time; the cores of this machine if it does not say."""
    return max(1, int(getattr(executor, "workers", 0) or os.cpu_count() or 1))


def in_process() -> CountedExecutor:
    """An executor without any other process: for one worker, and for looking into an item."""
    return InProcess()


def local(workers: int) -> CountedExecutor:
    """Processes on this machine; one that dies costs the item that it had, and is replaced.

    Args:
        workers: how many; one for each core is best.

    Raises:
        ValueError: fewer than one.
    """
    # Whoever runs in this process alone need not load what processes need.
    from harness.study.pool import Pool

    return Pool(workers)


def dask(address: str, *, timeout_s: float = 5.0) -> CountedExecutor:
    """The workers of a cluster of Dask that already runs.

    Args:
        address: of its scheduler: `tcp://host:port`.
        timeout_s: how long it may take to answer, s.

    Raises:
        InputError: Dask is missing, nobody answers there, it has no workers, or they have other
            code than this process.
    """
    from harness.study.cluster import Cluster

    return Cluster.at(address, timeout_s)


def readable(error: BaseException) -> str:
    """The kind and the text of an error in one line of bounded length."""
    text = " ".join(str(error).split())
    kind = type(error).__name__
    return f"{kind}: {text}"[:500] if text else kind


__all__: list[Any] = [
    "CountedExecutor",
    "InProcess",
    "WorkerDiedError",
    "dask",
    "in_process",
    "local",
    "readable",
    "workers_of",
]
