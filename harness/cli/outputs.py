"""Where the results of a command go: files, and which stream people read."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from harness.errors import InputError

STDOUT = "-"


def refuse_unwritable(*files: str | None) -> None:
    """Find out before anything runs whether the results can be written.

    Raises:
        InputError: a folder is missing or a path is one, or stdout is to take two results.
    """
    named = [file for file in files if file]
    if named.count(STDOUT) > 1:
        raise InputError("two results are to go to the standard output", hint="name a file for one")
    for file in named:
        path = Path(file)
        if file == STDOUT:
            continue
        if path.is_dir():
            raise InputError(
                "cannot be written: it is a folder", file=path, hint="name a file in it"
            )
        if not path.parent.is_dir():
            raise InputError(
                "cannot be written: its folder does not exist", file=path, hint="make it first"
            )


@contextlib.contextmanager
def writing(file: str) -> Iterator[IO[str]]:
    """Open a result for writing, `-` for the standard output.

    Raises:
        InputError: it cannot be written.
    """
    if file == STDOUT:
        yield sys.stdout
        return
    try:
        with Path(file).open("w", encoding="utf-8", newline="") as opened:
            yield opened
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=file) from None


def for_people(*files: str | None) -> IO[str]:
    """The stream for people: standard output, or standard error where a result goes there."""
    return sys.stderr if STDOUT in files else sys.stdout
