"""Files that are there whole or not at all, and what is said when a disk does not take them."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from harness.errors import InputError

UNFINISHED = ".unfinished"
_FULL = (errno.ENOSPC, errno.EDQUOT)


@contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """A file to write to, which takes the place of `path` when the block ends well.

    Raises:
        InputError: it cannot be written; `path` is as it was.
    """
    unfinished = path.with_name(path.name + UNFINISHED)
    try:
        with unfinished.open("wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    except BaseException as error:
        # What is left of it is never read, and removed by the next run.
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise cannot_write(path, error) from None
        raise


def cannot_write(path: Path, error: OSError) -> InputError:
    """What to tell of a file or folder that cannot be written."""
    if error.errno in _FULL:
        return InputError("no space is left on the disk", file=path, hint="make room")
    text = error.strerror or str(error)
    return InputError(f"cannot be written: {text}", file=path, hint="choose another folder")
