"""Reads one piece of data under watch: what may come out, how long it may take, how much memory."""

from __future__ import annotations

import resource
import signal
import tempfile
import traceback
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from attrs import frozen

from tests.fuzz.readers import OWN_ERRORS, Reader

LONGEST_S = 5.0
MOST_BYTES = 500 * 1024 * 1024


class TooLong(BaseException):
    """A reader did not come back in time; no `except Exception` may swallow it."""


@frozen
class Finding:
    """What came out of a reader that should not have.

    Attributes:
        kind: the error, or `hang`, or `memory`.
        place: the last line of our own that it went through.
        said: the whole of it.
    """

    kind: str
    place: str
    said: str


class Watch:
    """Gives data to a reader, in a folder of its own; a context manager.

    Attributes:
        accepted: how many were read without an error.
    """

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._folder = tempfile.TemporaryDirectory(prefix="fullproof-fuzz-")
        self._path = Path(self._folder.name) / f"data{reader.suffix}"
        self.accepted = 0

    def __enter__(self) -> Watch:
        return self

    def __exit__(self, *_: object) -> None:
        self._folder.cleanup()

    def read(self, data: bytes) -> Finding | None:
        """What is wrong with how the reader takes this; None where nothing is."""
        self._path.write_bytes(data)
        before = _most_memory()
        try:
            with _within(LONGEST_S), warnings.catch_warnings():
                warnings.simplefilter("ignore")
                self._reader.take(self._path)
                self.accepted += 1
        except OWN_ERRORS as error:
            if not str(error).strip():
                return Finding("says nothing", _place(error), repr(error))
        except TooLong as error:
            return Finding("hang", _place(error), "".join(traceback.format_exception(error)))
        except Exception as error:
            said = "".join(traceback.format_exception(error))
            return Finding(type(error).__name__, _place(error), said)
        grown = _most_memory() - before
        return None if grown < MOST_BYTES else Finding("memory", "", f"{grown} bytes more")


def _most_memory() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def _place(error: BaseException) -> str:
    frames = traceback.extract_tb(error.__traceback__)
    ours = [f for f in frames if "/harness/" in f.filename or "/ctrl/" in f.filename]
    return f"{ours[-1].filename.rpartition('/main/')[2]}:{ours[-1].lineno}" if ours else ""


@contextmanager
def _within(limit_s: float) -> Iterator[None]:
    """Raise `TooLong` after so much processor time: others may be at work on the machine."""

    def late(*_: Any) -> None:
        raise TooLong(f"longer than {limit_s:g} s")

    before = signal.signal(signal.SIGPROF, late)
    signal.setitimer(signal.ITIMER_PROF, limit_s)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)
