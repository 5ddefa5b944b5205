"""Traces on disk: CSV, the JSON of a vector, and Battery Data Format CSV.

The kind of a file follows from what is in it, not from its name. Time that runs backwards, gaps
and missing readings are legal here: the rules say what a controller makes of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from harness.cases.csv_pieces import KNOWN_COLUMNS, csv_pieces
from harness.errors import InputError
from harness.json_file import load_json
from harness.run import REQUIRED_COLUMNS, Floats, Trace
from harness.text_file import first_character

_ROWS_AT_ONCE = 100_000


def read_pieces(path: str | Path) -> Iterator[Trace]:
    """Yield the samples of a file in order, some 100,000 at a time.

    Never more than one piece is in memory, and never as Python objects (the JSON of a vector,
    which is small, comes as one piece).

    Raises:
        InputError: the file cannot be read, or is no trace; with file, line and column.
    """
    place = Path(path)
    if first_character(place) in (b"{", b"["):
        yield _json_trace(place)
    else:
        yield from csv_pieces(place)


def read(path: str | Path) -> Trace:
    """Read a whole trace; arrays of float64, eight bytes a reading.

    Raises:
        InputError: the file cannot be read, or is no trace; with file, line and column.
    """
    columns: dict[str, list[Floats]] = {}
    for piece in read_pieces(path):
        for name in piece.columns:
            columns.setdefault(name, []).append(piece.column(name))
    joined = {name: np.concatenate(columns.pop(name)) for name in tuple(columns)}
    return Trace(**joined)


def write(path: str | Path, trace: Trace) -> None:
    """Write a trace as CSV; a missing reading is an empty cell, and reading gives the same bits.

    Raises:
        InputError: the file cannot be written.
    """
    try:
        with Path(path).open("w", encoding="utf-8", newline="") as file:
            file.write(",".join(trace.columns) + "\n")
            for start in range(0, len(trace), _ROWS_AT_ONCE):
                file.write(csv_rows(trace.part(start, start + _ROWS_AT_ONCE)))
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=path) from None


def csv_rows(trace: Trace) -> str:
    """The samples as lines of CSV, without the header."""
    return "".join(",".join(map(_cell, row)) + "\n" for row in trace.rows())


def _cell(value: float | None) -> str:
    return "" if value is None else repr(value).removesuffix(".0")


def _json_trace(path: Path) -> Trace:
    content = load_json(path)
    if not isinstance(content, dict):
        raise InputError(
            "there is a list", file=path, hint="it must be an object with columns and rows"
        )
    return trace_from_json(content, path)


def trace_from_json(content: dict[str, Any], path: str | Path = "") -> Trace:
    """The trace of an object with the members `columns` and `rows`, null for a missing reading.

    Raises:
        InputError: a member is missing, or holds what is no trace; with the member's path.
    """
    columns, rows = (_list(content, name, path) for name in ("columns", "rows"))
    for place, name in enumerate(columns):
        if name not in KNOWN_COLUMNS or name in columns[:place]:
            raise InputError(
                f"there is {name!r}",
                file=path,
                column=f"columns[{place}]",
                hint=f"it must be one of {', '.join(KNOWN_COLUMNS)}, each once",
            )
    for name in REQUIRED_COLUMNS:
        if name not in columns:
            raise InputError(f"the column {name} is missing", file=path, column="columns")
    if not rows:
        raise InputError("there are no rows", file=path, column="rows")
    for number, row in enumerate(rows):
        if not isinstance(row, list) or len(row) != len(columns):
            found = f"{len(row)} readings" if isinstance(row, list) else repr(row)
            raise InputError(
                f"there is {found}",
                file=path,
                column=f"rows[{number}]",
                hint=f"a row has {len(columns)} readings, one for each of columns",
            )
        for place, value in enumerate(row):
            if value is not None and type(value) not in (int, float):
                raise InputError(
                    f"there is {value!r}",
                    file=path,
                    column=f"rows[{number}][{place}] ({columns[place]})",
                    hint="it must be a number, or null for a reading that is missing",
                )
    table = np.array(rows, dtype=np.float64)
    return Trace(**{name: table[:, place] for place, name in enumerate(columns)})


def _list(content: dict[str, Any], name: str, path: str | Path) -> list[Any]:
    value = content.get(name)
    if not isinstance(value, list):
        found = "is missing" if name not in content else f"is {value!r:.60}"
        raise InputError(f"the member {name} {found}", file=path, hint="it must be a list")
    return value
