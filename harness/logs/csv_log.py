"""Reads a log from CSV in blocks, and says exactly what is wrong with one that cannot be read.

A block is parsed at once, by pyarrow where it is installed, else by Python. Only a block that this
refuses is gone through cell by cell: that either yields the same values or names the culprit.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from importlib.util import find_spec
from itertools import chain
from pathlib import Path

from attrs import evolve

from harness.errors import InputError
from harness.logs.blocks import SAVE_AS_UTF_8, UTF_8, Torn, blocks, opened
from harness.logs.cells import Shape, by_arrow, by_cell, by_python
from harness.logs.table import Cells, Kind, Table, joined, places_of

DELIMITERS = (",", ";", "\t", "|")


def read_csv(
    path: Path,
    wanted: Mapping[str, Kind],
    *,
    delimiter: str,
    decimal: str,
    header_line: int,
    missing: frozenset[str],
    told: Mapping[str, str],
    encoding: str = UTF_8,
    pattern: str = "",
) -> Table:
    """The wanted columns of a CSV file.

    Args:
        path: the file, compressed or not.
        wanted: names of the columns, and what is in them.
        delimiter: what stands between cells; empty finds out from the header.
        decimal: the decimal mark.
        header_line: line of the header, counted from 1.
        missing: words for a value that is missing, in small letters.
        told: for each wanted name where it is asked for, for errors.
        encoding: of its text.
        pattern: how dates are written, as for `strptime`; empty for ISO 8601.

    Raises:
        InputError: it cannot be read; with line and column.
    """
    torn = Torn()
    fast = by_arrow if find_spec("pyarrow") and not pattern else by_python
    with opened(path) as file:
        source = blocks(path, file, torn, encoding=encoding)
        head, rest = _skipped(path, source, header_line, torn)
        shape = _shape(path, head, header_line, wanted, delimiter, decimal, missing, told)
        shape = evolve(shape, pattern=pattern)
        pieces: dict[str, list[Cells]] = {name: [] for name in wanted}
        line = header_line + 1
        for block in chain([rest], source):
            if not block:
                continue
            rows = block.count(b"\n")
            columns = fast(block, rows, shape) or by_cell(path, block, line, shape)
            for name, cells in columns.items():
                pieces[name].append(cells)
            line += rows
    if line == header_line + 1:
        raise InputError(
            "there is a header and nothing else", file=path, line=header_line, hint="is it a log?"
        )
    return Table(
        {name: joined(pieces.pop(name), path, name) for name in tuple(pieces)},
        header_line + 1,
        torn.note,
    )


def header_names(path: Path, source: Iterator[bytes], torn: Torn) -> tuple[str, ...]:
    """The names in the first line; raises as `read_csv`."""
    head, _ = _skipped(path, source, 1, torn)
    text = _header_text(path, head, 1)
    return _split(path, 1, text, max(DELIMITERS, key=text.count))


def _skipped(
    path: Path, source: Iterator[bytes], header_line: int, torn: Torn
) -> tuple[bytes, bytes]:
    """The line of the header, and what follows it in its block."""
    seen = 0
    for block in source:
        lines = block.split(b"\n", header_line - seen)
        if len(lines) > header_line - seen:
            return lines[header_line - seen - 1], lines[-1]
        seen += len(lines) - 1
    if seen == 0 and not torn.note:
        raise InputError("the file is empty", file=path, hint="its first line names the columns")
    what = "one line without an end" if seen == 0 else f"{seen} lines"
    raise InputError(
        f"there is no header in line {header_line}: the file has {what}",
        file=path,
        hint="each line ends with a line feed",
    )


def _shape(
    path: Path,
    head: bytes,
    line: int,
    wanted: Mapping[str, Kind],
    delimiter: str,
    decimal: str,
    missing: frozenset[str],
    told: Mapping[str, str],
) -> Shape:
    text = _header_text(path, head, line)
    delimiter = delimiter or max(DELIMITERS, key=text.count)
    names = _split(path, line, text, delimiter)
    places = places_of(wanted, names, path, line, told)
    return Shape(names, places, dict(wanted), delimiter, decimal, missing)


def _header_text(path: Path, head: bytes, line: int) -> str:
    try:
        text = head.decode("utf-8").rstrip("\r")
    except UnicodeDecodeError as error:
        at = f"byte {error.start + 1}"
        raise InputError(
            "is not UTF-8", file=path, line=line, column=at, hint=SAVE_AS_UTF_8
        ) from None
    if "\0" in text:
        raise InputError("there is a NUL byte", file=path, line=line, hint="a log is plain text")
    if not text.strip():
        hint = "its line is named in the mapping, as [file] header_line"
        raise InputError("the header is empty", file=path, line=line, hint=hint)
    return text


def _split(path: Path, line: int, text: str, delimiter: str) -> tuple[str, ...]:
    try:
        return tuple(cell.strip() for cell in next(csv.reader([text], delimiter=delimiter), []))
    except csv.Error:
        hint = "each line ends with a line feed, and a quoted name ends in its line"
        raise InputError("the header is no CSV", file=path, line=line, hint=hint) from None
