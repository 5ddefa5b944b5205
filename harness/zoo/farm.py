"""Much work on all cores: one process a core, each with its own share, results as they come."""

from __future__ import annotations

import multiprocessing
import os
import queue
import signal
from collections.abc import Callable, Iterator, Sequence
from multiprocessing.context import BaseContext
from typing import Any, TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")

# Longer than any process takes to die; a shorter wait only asks more often.
_LOOK_S = 1.0


class WorkerDiedError(RuntimeError):
    """A process ended before its share was done."""


def workers_for(tasks: int) -> int:
    """As many processes as there are cores for this program, and no more than tasks."""
    try:
        cores = len(os.sched_getaffinity(0))
    except AttributeError:  # not every system knows it
        cores = os.cpu_count() or 1
    return max(1, min(cores, tasks))


def farmed(
    tasks: Sequence[Task],
    work: Callable[[Task], Iterator[Result]],
    workers: int | None = None,
) -> Iterator[Result]:
    """What `work` yields for every task, in the order in which it is done.

    Args:
        tasks: each is worked on in one process; the k-th goes to the process `k % workers`.
        work: a function of a module; it must not depend on the order of the tasks.
        workers: how many processes; None for one a core. With one there is no other process.

    Raises:
        WorkerDiedError: a process was ended from outside, or its work failed.
    """
    count = workers_for(len(tasks)) if workers is None else max(1, min(workers, len(tasks)))
    if count == 1:
        for task in tasks:
            yield from work(task)
        return
    context = multiprocessing.get_context()
    results = context.Queue()
    shares = [tasks[k::count] for k in range(count)]
    processes = [_started(context, work, share, results) for share in shares]
    try:
        yield from _received(processes, results)
    finally:
        for process in processes:
            process.terminate()
            process.join()


def _started(context: BaseContext, work: Any, share: Sequence[Any], results: Any) -> Any:
    # The stub of the context does not tell that it makes processes.
    process = context.Process(  # type: ignore[attr-defined]
        target=_worked, args=(work, list(share), results), daemon=True
    )
    process.start()
    return process


def _received(processes: Sequence[Any], results: Any) -> Iterator[Any]:
    running = len(processes)
    while running:
        try:
            kind, value = results.get(timeout=_LOOK_S)
        except queue.Empty:
            dead = [p.exitcode for p in processes if p.exitcode not in (None, 0)]
            if dead:
                raise WorkerDiedError(
                    f"a process of the zoo ended with the status {dead[0]}"
                ) from None
            continue
        if kind == "done":
            running -= 1
        elif kind == "failed":
            raise WorkerDiedError(f"a process of the zoo failed: {value}")
        else:
            yield value


def _worked(work: Callable[[Any], Iterator[Any]], share: Sequence[Any], results: Any) -> None:
    # An interruption reaches every process of the terminal; the first one decides what it means.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        for task in share:
            for result in work(task):
                results.put(("result", result))
    except Exception as error:
        results.put(("failed", f"{type(error).__name__}: {error}"))
    else:
        results.put(("done", None))
