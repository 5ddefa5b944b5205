"""A cluster of Dask as an executor; its scheduler sends an item on when a worker dies."""

from __future__ import annotations

import gc
import hashlib
import logging
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import ExitStack, contextmanager
from functools import cache
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

from harness.errors import InputError
from harness.study.executors import CountedExecutor, WorkerDiedError

P = ParamSpec("P")
T = TypeVar("T")

# A cluster may grow and shrink while it works.
_COUNT_AGAIN_S = 5.0
_GRACE_S = 2.0


def need_distributed() -> None:
    """Raise `InputError` where what connects to a cluster is not installed."""
    try:
        import distributed  # noqa: F401
    except ImportError:
        raise InputError(
            "a cluster of Dask needs distributed", hint="pip install 'fullproof[dask]'"
        ) from None


class Cluster(CountedExecutor):
    """The workers of a scheduler that was started elsewhere, and goes on when this is shut down."""

    def __init__(self, client: Any, address: str, opened: ExitStack) -> None:
        """A client of Dask, where its scheduler is, and what to undo in the end."""
        self._opened = opened
        self._client = client
        self._address = address
        self._executor = client.get_executor(pure=False)
        self._workers, self._counted_s = 1, float("-inf")

    @classmethod
    def at(cls, address: str, timeout_s: float) -> Cluster:
        """Connect; arguments and errors as `harness.study.executors.dask`."""
        need_distributed()
        import distributed

        # Its own annotations are incomplete.
        connect: Any = distributed.Client
        with ExitStack() as undone:
            undone.enter_context(_quiet_client())
            client = _connected(
                lambda: connect(address, timeout=timeout_s, set_as_default=False),
                address,
                timeout_s,
            )
            undone.callback(client.close)
            _refuse_other_code(client, address)
            return cls(client, address, undone.pop_all())

    @property
    def workers(self) -> int:
        """The threads of all its workers, as they were a few seconds ago."""
        now_s = time.monotonic()
        if now_s - self._counted_s > _COUNT_AGAIN_S:
            self._counted_s = now_s
            try:
                self._workers = max(1, sum(self._client.nthreads().values()))
            except Exception:
                # The futures tell whether the cluster is lost; this is no reason to give up.
                return self._workers
        return self._workers

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Have a call run by any worker; what it is made of must be picklable.

        Its future raises `WorkerDiedError` where so many workers died over it that the scheduler gave up.
        """
        import distributed

        inner = self._executor.submit(_with_same_code, _own_code(), fn, args, kwargs)
        outer: Future[T] = Future()

        def answered(_: Future[T]) -> None:
            if inner.cancelled():
                outer.cancel()
                outer.set_running_or_notify_cancel()
                return
            if not outer.set_running_or_notify_cancel():
                return
            error: Any = inner.exception()
            if isinstance(error, distributed.KilledWorker):
                times = int(error.allowed_failures) + 1
                # The scheduler blames all items that a worker had.
                reason = f"workers of {self._address} ended"
                outer.set_exception(WorkerDiedError(reason, times, sure=False))
            elif error is not None:
                outer.set_exception(error)
            else:
                outer.set_result(inner.result())

        def given_up(_: Future[T]) -> None:
            if outer.cancelled():
                inner.cancel()

        inner.add_done_callback(answered)
        outer.add_done_callback(given_up)
        return outer

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Leave the cluster; calls that are running there are given up unless waited for."""
        self._executor.shutdown(wait=wait and not cancel_futures)
        self._opened.close()


@contextmanager
def _quiet_client() -> Iterator[None]:
    """Nothing on standard error of what the futures tell as well, tracebacks least of all."""
    loggers = [logging.getLogger(name) for name in ("distributed", "distributed.client")]
    before = [logger.level for logger in loggers]
    try:
        for logger in loggers:
            logger.setLevel(logging.CRITICAL + 1)
        yield
    finally:
        for logger, level in zip(loggers, before, strict=True):
            logger.setLevel(level)


@cache
def code() -> str:
    """A hash of everything that decides about rows and may differ from machine to machine."""
    import numba
    import numpy as np

    digest = hashlib.sha256(f"{numba.__version__} {np.__version__}".encode())
    root = Path(__file__).resolve().parents[2]
    for folder in (root / "ctrl", root / "harness"):
        for path in sorted(folder.rglob("*.py")):
            digest.update(path.relative_to(root).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def _connected(connect: Callable[[], Any], address: str, timeout_s: float) -> Any:
    """A client; its own limit does not hold where somebody answers who speaks another language."""
    answer: Future[Any] = Future()

    def try_it() -> None:
        # A client that did not get through closes itself when it is collected; while another one
        # starts, that waits for ever for the lock which the start holds.
        gc.collect()
        try:
            answer.set_result(connect())
        except BaseException as error:
            answer.set_exception(error)

    threading.Thread(target=try_it, daemon=True).start()
    try:
        return answer.result(timeout=timeout_s + _GRACE_S)
    except (OSError, ValueError, TypeError) as error:
        why = _first_line(error) if answer.done() else "it does not speak as one"
        raise InputError(
            f"no scheduler of Dask answers at {address!r}: {why}",
            column="--dask",
            hint="write tcp://host:port, as the scheduler shows it when it starts",
        ) from None


def _own_code() -> str:
    """That of this process, with which the workers must agree."""
    return code()


def _with_same_code(
    expected: str, fn: Callable[..., T], args: tuple[Any, ...], kwargs: dict[str, Any]
) -> T:
    """The call, on the worker; a worker may have come since the others were looked at."""
    if code() != expected:
        raise RuntimeError("a worker has other code than the process that runs the study")
    import numba

    # The cluster says how many calls run at a time on a machine; none takes the cores of another.
    numba.set_num_threads(1)
    return fn(*args, **kwargs)


def _refuse_other_code(client: Any, address: str) -> None:
    try:
        found = client.run(code, on_error="return")
    except (OSError, ValueError) as error:
        found, why = {}, f": {_first_line(error)}"
    else:
        why = ""
    if not found:
        raise InputError(
            f"the cluster at {address} has no workers{why}",
            column="--dask",
            hint="start some: dask worker " + address,
        )
    for worker, answer in sorted(found.items()):
        if answer != _own_code():
            wrong = isinstance(answer, BaseException)
            raise InputError(
                f"the worker {worker} has "
                + (
                    f"no Fullproof: {_first_line(answer)}"
                    if wrong
                    else "other code than this process"
                ),
                column="--dask",
                hint="install the same versions of Fullproof, numpy and numba on all machines",
            )


def _first_line(error: BaseException) -> str:
    return str(error).partition("\n")[0][:200] or type(error).__name__
