"""Runs the items of a study on an executor: few at a time, each kept as soon as it is done.

Which worker runs an item, when it is done and how often its worker dies change nothing of its rows,
and the rows are put together in the order of the items: so the result is that of one worker.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future
from queue import Empty, SimpleQueue

from attrs import define, field, frozen

from harness.errors import InputError
from harness.interruption import Listening
from harness.study.executors import InProcess, WorkerDiedError, readable, workers_of
from harness.study.part_file import Columns
from harness.study.store import Folder

_LOOK_UP_S = 0.25


class ExecutorLostError(InputError):
    """Nobody is left who could run anything."""


@frozen
class Job:
    """What is to be run.

    Attributes:
        fingerprint: of the study: text that differs for any two studies with other rows.
        items: how many items there are.
        work: the rows of an item by its number, from 0; picklable, and without chance of its own:
            a function of a module, or a `functools.partial` of one.
    """

    fingerprint: str
    items: int
    work: Callable[[int], Columns]


@frozen
class Progress:
    """How far a run is.

    Attributes:
        items: how many there are.
        kept: how many were there when it began.
        done: how many it has done.
        failed: how many could not be done.
    """

    items: int
    kept: int
    done: int
    failed: int

    @property
    def left(self) -> int:
        """How many are still to be done."""
        return self.items - self.kept - self.done - self.failed


@frozen
class Ran:
    """What came of a run.

    Attributes:
        items: how many there are.
        kept: how many were there when it began.
        done: how many it has done.
        failed: why an item could not be done, by its number, ascending.
        deaths: how many workers ended over an item.
        interrupted: whether the user ended it early.
    """

    items: int
    kept: int
    done: int
    failed: Mapping[int, str] = field(factory=dict)
    deaths: int = 0
    interrupted: bool = False

    @property
    def complete(self) -> bool:
        """Whether every item is there."""
        return self.kept + self.done == self.items

    @property
    def how_to_go_on(self) -> str:
        """What is there, and how the rest is done; empty where every item is."""
        if self.complete:
            return ""
        return f"{self.kept + self.done} of {self.items} items are kept: go on with --resume"


def run(
    job: Job,
    folder: Folder,
    executor: Executor,
    *,
    progress: Callable[[Progress], None] = lambda _: None,
    tries: int = 3,
    ahead: int = 2,
) -> Ran:
    """Run the items that are not in the folder.

    An item whose work raises is given up at once, since the same would happen again. The first
    interruption by the user ends the run as soon as what is done is kept; items that are being run
    are given up, and the executor is shut down.

    Args:
        job: what to run.
        folder: where its rows go.
        executor: where its work is done.
        progress: called at the start, and whenever an item is done or has failed.
        tries: after so many dead workers an item is given up.
        ahead: how many items are with the executor for each worker: more than 1 keep it busy, and
            each takes the memory of its rows.

    Returns:
        What came of it; whether every item was done is for the caller to see.

    Raises:
        ValueError: numbers below 1, a folder of another study, or columns of no use.
        InputError: the rows cannot be written, or the executor is lost. What was done is kept.
    """
    if tries < 1 or ahead < 1:
        raise ValueError(f"tries {tries} and ahead {ahead}; at least 1")
    if (folder.fingerprint, folder.items) != (job.fingerprint, job.items):
        raise ValueError(
            f"the folder is of study {folder.fingerprint} in {folder.items} items, "
            f"the job of study {job.fingerprint} in {job.items}"
        )
    running = _Running(job, folder, executor, progress, tries)
    with Listening() as listening:
        try:
            try:
                running.until_done(ahead, lambda: listening.interrupted)
            except ExecutorLostError:
                running.keep_what_is_back()
                raise
            if listening.interrupted:
                running.keep_what_is_back()
                running.give_up()
        except InputError as error:
            running.give_up()
            raise _with_hint(error, running.ran()) from None
        except BaseException:
            running.give_up()
            raise
    return running.ran(interrupted=listening.interrupted)


@define
class _Running:
    """A run while it runs."""

    job: Job
    folder: Folder
    executor: Executor
    progress: Callable[[Progress], None]
    tries: int
    kept: int = field(init=False)
    done: int = 0
    failed: dict[int, str] = field(factory=dict)
    died: dict[int, int] = field(factory=dict)
    deaths: int = 0
    # Items over which workers ended that had others as well: they are run alone, last.
    suspects: list[int] = field(factory=list)
    alone: bool = False
    # Of each future the item, and the futures that are done, in the order in which they are.
    out: dict[Future[Columns], int] = field(factory=dict)
    back: SimpleQueue[Future[Columns]] = field(factory=SimpleQueue)

    def __attrs_post_init__(self) -> None:
        self.kept = self.folder.done

    def until_done(self, ahead: int, stopped: Callable[[], bool]) -> None:
        """Run until nothing is left, or until told to stop.

        Raises:
            InputError: the rows cannot be written, or the executor is lost.
        """
        missing = self.folder.missing()
        self._tell()
        more = True
        while not stopped():
            while more and len(self.out) < self._most(ahead) and not stopped():
                item = next(missing, None)
                more = item is not None
                if item is not None:
                    self._send(item)
            if not self.out and self.suspects and not stopped():
                self.alone = True
                self._send(self.suspects.pop(0))
            if not self.out:
                return
            try:
                future = self.back.get(timeout=_LOOK_UP_S)
            except Empty:
                continue
            self._take(future, self.out.pop(future))

    def _most(self, ahead: int) -> int:
        """How many items may be out at the same time."""
        # In this process nothing is gained by more, and what is done would be kept later.
        here = isinstance(self.executor, InProcess)
        return 1 if here else ahead * workers_of(self.executor)

    def _send(self, item: int) -> None:
        try:
            future = self.executor.submit(self.job.work, item)
        except BrokenExecutor as error:
            raise _lost(error) from None
        self.out[future] = item
        future.add_done_callback(self.back.put)

    def _take(self, future: Future[Columns], item: int) -> None:
        """Keep what came of an item; send it out once more where its worker died."""
        try:
            columns = future.result()
        except WorkerDiedError as death:
            self.deaths += death.times
            if not death.sure and not self.alone:
                self.suspects.append(item)
                return
            self.died[item] = self.died.get(item, 0) + death.times
            if self.died[item] < self.tries:
                self._send(item)
                return
            times = f"{self.died[item]} workers ended over it" if self.died[item] > 1 else ""
            self.failed[item] = f"{times}, last: {death.reason}" if times else death.reason
        except (BrokenExecutor, CancelledError) as error:
            raise _lost(error) from None
        except (Exception, SystemExit) as error:
            self.failed[item] = readable(error)
        else:
            self.folder.add(item, columns)
            self.done += 1
            self.died.pop(item, None)
        self._tell()

    def _tell(self) -> None:
        self.progress(Progress(self.job.items, self.kept, self.done, len(self.failed)))

    def keep_what_is_back(self) -> None:
        """Keep the rows that are there; what went wrong otherwise is found out once more."""
        while not self.back.empty():
            future = self.back.get()
            item = self.out.pop(future)
            if not future.cancelled() and future.exception() is None:
                self.folder.add(item, future.result())
                self.done += 1

    def give_up(self) -> None:
        """End what is still being run."""
        for future in self.out:
            future.cancel()
        self.out.clear()
        self.executor.shutdown(wait=False, cancel_futures=True)

    def ran(self, *, interrupted: bool = False) -> Ran:
        """What came of it so far."""
        failed = dict(sorted(self.failed.items()))
        return Ran(self.job.items, self.kept, self.done, failed, self.deaths, interrupted)


def _lost(error: BaseException) -> ExecutorLostError:
    why = "" if isinstance(error, CancelledError) else f": {readable(error)}"
    return ExecutorLostError(f"the workers are gone{why}", hint="are they still running?")


def _with_hint(error: InputError, ran: Ran) -> InputError:
    """The same error, which also tells how to go on."""
    hint = "; ".join(text for text in (error.hint, ran.how_to_go_on) if text)
    return InputError(
        error.message, file=error.file, line=error.line, column=error.column, hint=hint
    )
