"""How much room a study takes on a disk, reckoned before it begins."""

from __future__ import annotations

import shutil
from pathlib import Path

from harness.errors import InputError
from harness.study.compaction import ROWS_A_GROUP

# Disks give room in blocks.
_BLOCK = 4096
# What a file takes besides its rows, and what each column adds in each group of rows; measured,
# and rounded up.
_FILE_BYTES, _COLUMN_BYTES = 2048, 256
_NUMBER_BYTES = 8

# Columns of a row, at most.
MOST_COLUMNS = 32


def needed_bytes(items: int, rows_an_item: int, columns: int, *, done: int = 0) -> int:
    """What a study still takes on a disk until its parts are put together, at most, in bytes.

    Args:
        items: into how many items it is cut.
        rows_an_item: rows of each item, at most.
        columns: of each row.
        done: how many items are on the disk already.
    """
    parts = (items - done) * _file_bytes(rows_an_item, columns)
    return parts + _file_bytes(items * rows_an_item, columns)


def check_space(folder: Path, needed: int) -> None:
    """See that a disk has room.

    Args:
        folder: a folder on it.
        needed: what must find room, in bytes.

    Raises:
        InputError: it has not.
    """
    free = shutil.disk_usage(folder).free
    if needed > free:
        raise InputError(
            f"the study needs {_size(needed)} on this disk, and {_size(free)} is free",
            file=folder,
            hint="make room, choose a folder on another disk, or run fewer banks",
        )


def _file_bytes(rows: int, columns: int) -> int:
    groups = -(-rows // ROWS_A_GROUP)
    size = _FILE_BYTES + columns * (_COLUMN_BYTES * groups + _NUMBER_BYTES * rows)
    return -(-size // _BLOCK) * _BLOCK


def _size(size: float) -> str:
    for unit in ("bytes", "kB", "MB", "GB"):
        if size < 1000:
            return f"{size:.3g} {unit}"
        size /= 1000
    return f"{size:,.0f} TB"
