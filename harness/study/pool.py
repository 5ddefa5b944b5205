"""Worker processes on this machine, each in a pool of its own.

A pool of many processes has one channel that they all share: one that is killed while it holds the
channel takes the others with it, and one that is killed too soon leaves an item that is never
answered. So each process has its own pool and at most one item, and it is known what a death costs.
"""

from __future__ import annotations

import multiprocessing
import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable
from concurrent.futures import CancelledError, Future, wait
from concurrent.futures.process import BrokenProcessPool
from queue import SimpleQueue
from typing import Any, ParamSpec, TypeVar

from attrs import define, frozen
from pebble import ProcessExpired, ProcessPool

from harness.study.executors import CountedExecutor, WorkerDiedError, readable

P = ParamSpec("P")
T = TypeVar("T")

# Read where a library is loaded: they must stand in the environment before a worker begins.
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
_LOOK_AGAIN_S = 1.0


@frozen
class _Call:
    """A call that waits for a worker, and the future of its answer."""

    future: Future[Any]
    fn: Callable[..., Any]
    args: tuple[Any, ...]
    kwargs: dict[str, Any]


class Pool(CountedExecutor):
    """So-and-so many worker processes, begun when they are first needed."""

    def __init__(self, workers: int) -> None:
        """The number of workers.

        Raises:
            ValueError: fewer than one.
        """
        if workers < 1:
            raise ValueError(f"{workers} workers; at least 1")
        self._closed = False
        self._waiting: SimpleQueue[_Call | None] = SimpleQueue()
        self._environment = {name: os.environ.get(name) for name in ONE_THREAD}
        os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
        self._servers = [_Server(self._waiting) for _ in range(workers)]
        for server in self._servers:
            server.thread.start()

    @property
    def workers(self) -> int:
        """How many processes."""
        return len(self._servers)

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Have a call run by the next worker that is free; what it is made of must be picklable.

        Its future raises `WorkerDiedError` where the worker ended without an answer.
        """
        if self._closed:
            raise RuntimeError("the workers are shut down")
        future: Future[T] = Future()
        self._waiting.put(_Call(future, fn, args, kwargs))
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the workers.

        Args:
            wait: until they have ended.
            cancel_futures: also the calls that are running; the others are answered first.
        """
        if not self._closed:
            self._closed = True
            for name, value in self._environment.items():
                if value is None:
                    os.environ.pop(name, None)
                else:
                    os.environ[name] = value
            for _ in self._servers:
                self._waiting.put(None)
        if cancel_futures:
            for server in self._servers:
                server.stop()
        if wait:
            for server in self._servers:
                server.thread.join()


class _Server:
    """A thread of this process that hands one call after the other to one worker process."""

    def __init__(self, waiting: SimpleQueue[_Call | None]) -> None:
        self._waiting = waiting
        self._worker: _Worker | None = None
        self._stopped = False
        self.thread = threading.Thread(target=self._serve, daemon=True)

    def stop(self) -> None:
        """End the worker whatever it does."""
        self._stopped = True
        worker = self._worker
        if worker is not None:
            worker.cancel()

    def _serve(self) -> None:
        # Threads and processes that begin from here inherit it: an interruption is for the main
        # thread alone, which decides what becomes of the workers.
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        while (call := self._waiting.get()) is not None:
            if self._stopped:
                call.future.cancel()
            elif call.future.set_running_or_notify_cancel():
                self._answer(call)
        self._end_worker()

    def _answer(self, call: _Call) -> None:
        if self._worker is None:
            self._worker = _Worker.begun()
        try:
            result = self._worker.call(call, lambda: self._stopped)
        except (WorkerDiedError, CancelledError) as error:
            self._end_worker()
            call.future.set_exception(error)
        # Also what would end a program: here it would leave whoever asked without an answer.
        except BaseException as error:
            call.future.set_exception(error)
        else:
            call.future.set_result(result)

    def _end_worker(self) -> None:
        if self._worker is not None:
            self._worker.end()
            self._worker = None


@define
class _Worker:
    """One worker process, in a pool that would begin another one if it ended."""

    pool: ProcessPool
    begun_processes: Any
    running: Future[Any] | None = None

    @classmethod
    def begun(cls) -> _Worker:
        context = multiprocessing.get_context("spawn")
        count = context.Value("q", 0)
        pool = ProcessPool(max_workers=1, initializer=_begin, initargs=(count,), context=context)
        return cls(pool, count)

    def call(self, call: _Call, stopped: Callable[[], bool]) -> Any:
        """The answer to a call.

        Raises:
            WorkerDiedError: the worker ended without one.
            CancelledError: it was told to stop.
        """
        try:
            running = self.pool.schedule(_run, (call.fn, call.args, call.kwargs))
        except RuntimeError as error:
            # It ended between two calls.
            raise WorkerDiedError("the worker ended") from error
        self.running = running
        if stopped():
            self.cancel()
        while not wait((running,), _LOOK_AGAIN_S).done:
            # A process that ends as if all were well is not missed by the pool.
            if self.begun_processes.value > 1:
                raise WorkerDiedError("the worker ended with code 0 in the middle of an item")
        try:
            return running.result()
        except ProcessExpired as error:
            raise WorkerDiedError(_ended(error.exitcode)) from None
        except BrokenProcessPool as error:
            raise WorkerDiedError("the worker ended") from error
        finally:
            self.running = None

    def cancel(self) -> None:
        running: Any = self.running
        if running is not None:
            running.cancel()

    def end(self) -> None:
        pool: Any = self.pool
        pool.stop()
        pool.join()


def _ended(code: int | None) -> str:
    if code is not None and code < 0:
        try:
            return f"the worker was ended by the signal {signal.Signals(-code).name}"
        except ValueError:
            return f"the worker was ended by the signal {-code}"
    return f"the worker ended with code {code}"


def _begin(count: Any) -> None:
    """What a worker does first."""
    with count.get_lock():
        count.value += 1
    os.environ["NUMBA_NUM_THREADS"] = "1"
    numba: Any = sys.modules.get("numba")
    if numba is not None:
        numba.config.NUMBA_NUM_THREADS = 1


def _run(fn: Callable[..., Any], args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any:
    """The call, in the worker; an error that cannot be sent as it is comes back as its text."""
    try:
        return fn(*args, **kwargs)
    except BaseException as error:
        try:
            pickle.loads(pickle.dumps(error))
        except Exception:
            raise RuntimeError(readable(error)) from None
        raise
