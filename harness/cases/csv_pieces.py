"""Reads a trace from CSV in pieces, and says exactly what is wrong with one that cannot be read.

A piece is parsed at once by numpy. Only a piece that numpy refuses is gone through line by line,
with the full rules: that either yields the same numbers or names the culprit.
"""

from __future__ import annotations

import difflib
import io
import re
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import numpy as np
from attrs import frozen

from harness.errors import InputError, cannot_read
from harness.run import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Floats, Trace
from harness.text_file import UTF_8_MARK

PIECE_BYTES = 8_000_000
# A table of numbers has no line like that: without the limit a file without line ends would be
# collected in memory as a whole before anything could be said about it.
LONGEST_LINE_BYTES = 1_000_000

KNOWN_COLUMNS = REQUIRED_COLUMNS + OPTIONAL_COLUMNS
# Column names and their order: Battery Data Format, ontology 1.3.0 (package batterydf 0.1.0).
# Positive current charges there too. Its other columns say nothing that a controller reads.
BATTERY_DATA_FORMAT = {"Test Time / s": "t", "Voltage / V": "v", "Current / A": "i"}

_MISSING = frozenset({"", "nan", "null"})
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|[+-]?inf(inity)?", re.I | re.ASCII)
_FOREIGN_MARKS = {b"\xff\xfe": "UTF-16", b"\xfe\xff": "UTF-16"}
_BLANK = b"\r\n "


@frozen
class _Header:
    """What the first line says.

    Attributes:
        names: the names as they stand there.
        places: which cell of a row holds which column of the trace.
        separator: what stands between two cells.
        all_used: whether every cell of a row is read.
    """

    names: tuple[str, ...]
    places: dict[str, int]
    separator: str
    all_used: bool

    def column(self, place: int) -> str:
        """A column as an error names it."""
        return f"column {place + 1} ({self.names[place]})"


def csv_pieces(path: Path, piece_bytes: int = PIECE_BYTES) -> Iterator[Trace]:
    """Yield the trace of a CSV file in pieces of about `piece_bytes` bytes of text.

    Args:
        path: the file; UTF-8, with or without a byte-order mark, any line ends.
        piece_bytes: how much text one piece holds, bytes.

    Raises:
        InputError: the file cannot be read, or is no trace.
    """
    try:
        with path.open("rb") as file:
            yield from _pieces(path, file, piece_bytes)
    except OSError as error:
        raise cannot_read(path, error) from None


def _pieces(path: Path, file: BinaryIO, piece_bytes: int) -> Iterator[Trace]:
    header: _Header | None = None
    line = 1
    rows = 0
    for block in _blocks(path, file, piece_bytes):
        text = _decoded(path, block, line)
        if header is None:
            first, _, text = text.partition("\n")
            header = _header(path, first)
            line += 1
        if text:
            table = _table(path, text, line, header)
            rows += len(table)
            if len(table):
                columns = {name: table[:, k].copy() for k, name in enumerate(header.places)}
                yield Trace(**columns)
            line += text.count("\n")
    if header is None:
        raise InputError("the file is empty", file=path, hint="the first line must be t,v,i")
    if rows == 0:
        raise InputError(
            "there is a header and nothing else", file=path, line=2, hint="add one row a sample"
        )


def _blocks(path: Path, file: BinaryIO, piece_bytes: int) -> Iterator[bytes]:
    """Whole lines, each with its line feed; blank lines at the end of the file are left out."""
    rest = b""
    line = 1
    first = True
    while chunk := file.read(piece_bytes):
        if first:
            chunk = _unmarked(path, chunk)
            first = False
        whole, end, partial = (rest + chunk).rpartition(b"\n")
        # Blank lines are kept back until it is known whether they end the file.
        kept = whole.rstrip(_BLANK)
        rest = whole[len(kept) :] + end + partial
        if kept:
            cut = rest.index(b"\n") + 1
            block = _unix(kept + rest[:cut])
            rest = rest[cut:]
            line += block.count(b"\n")
            yield block
        if len(rest) > LONGEST_LINE_BYTES:
            raise InputError(
                f"there is no row in {LONGEST_LINE_BYTES} bytes",
                file=path,
                line=line,
                hint="a trace has one row a line, ended by a line feed",
            )
    last = _unix(rest).rstrip(_BLANK)
    if last:
        yield last + b"\n"


def _unmarked(path: Path, chunk: bytes) -> bytes:
    """The start of the text without its byte-order mark."""
    for mark, name in _FOREIGN_MARKS.items():
        if chunk.startswith(mark):
            raise InputError(f"the text is {name}", file=path, line=1, hint="save it as UTF-8")
    return chunk.removeprefix(UTF_8_MARK)


def _unix(block: bytes) -> bytes:
    return block.replace(b"\r\n", b"\n") if b"\r" in block else block


def _decoded(path: Path, block: bytes, line: int) -> str:
    if b"\0" in block:
        at = block.index(b"\0")
        raise InputError(
            "there is a NUL byte",
            file=path,
            line=line + block.count(b"\n", 0, at),
            column=_byte(block, at),
            hint="a trace is plain text in UTF-8",
        )
    try:
        return block.decode("utf-8")
    except UnicodeDecodeError as error:
        raise InputError(
            f"byte 0x{block[error.start]:02x} is not UTF-8",
            file=path,
            line=line + block.count(b"\n", 0, error.start),
            column=_byte(block, error.start),
            hint="save the file as UTF-8",
        ) from None


def _byte(block: bytes, at: int) -> str:
    """A place within its line, counted from 1."""
    line_end = b"\n"
    return f"byte {at - block.rfind(line_end, 0, at)}"


def _header(path: Path, text: str) -> _Header:
    if not text.strip():
        raise InputError("the line is empty", file=path, line=1, hint="begin with t,v,i")
    if "\r" in text:
        raise InputError(
            "the lines end with a carriage return alone",
            file=path,
            line=1,
            hint="end them with a line feed",
        )
    if "," in text and ";" in text:
        raise InputError(
            "the header has both , and ; between its names",
            file=path,
            line=1,
            hint="use one of them throughout, and a point in decimals",
        )
    separator = ";" if ";" in text else ","
    names = tuple(name.strip() for name in text.split(separator))
    for place, name in enumerate(names):
        if name in names[:place]:
            raise InputError(
                f"there are two columns of the name {name!r}",
                file=path,
                line=1,
                column=f"column {place + 1} ({name})",
                hint=f"the other is column {names.index(name) + 1}",
            )
    if "Test Time / s" in names:
        return _battery_data_header(path, names, separator)
    for place, name in enumerate(names):
        if name not in KNOWN_COLUMNS:
            raise InputError(
                f"there is no column {name!r}",
                file=path,
                line=1,
                column=f"column {place + 1} ({name})",
                hint=_nearest_column(name),
            )
    for name in REQUIRED_COLUMNS:
        if name not in names:
            raise InputError(
                f"the column {name} is missing",
                file=path,
                line=1,
                hint=f"the header is {text!r}, and a trace has at least t,v,i",
            )
    return _Header(names, {name: names.index(name) for name in names}, separator, True)


def _battery_data_header(path: Path, names: tuple[str, ...], separator: str) -> _Header:
    for name in BATTERY_DATA_FORMAT:
        if name not in names:
            raise InputError(
                f"the column {name!r} is missing",
                file=path,
                line=1,
                hint="the Battery Data Format requires " + ", ".join(BATTERY_DATA_FORMAT),
            )
    places = {ours: names.index(theirs) for theirs, ours in BATTERY_DATA_FORMAT.items()}
    return _Header(names, places, separator, len(names) == len(places))


def _nearest_column(name: str) -> str:
    close = difflib.get_close_matches(name.lower(), KNOWN_COLUMNS, n=1, cutoff=0.5)
    known = f"known are {', '.join(KNOWN_COLUMNS)}"
    return f"did you mean {close[0]}? {known}" if close else known


def _table(path: Path, text: str, line: int, header: _Header) -> Floats:
    """The numbers of whole lines, one column for each of `header.places`, in that order."""
    places = list(header.places.values())
    if "\n\n" not in text and not text.startswith("\n") and "\r" not in text:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                table = np.loadtxt(
                    io.StringIO(_filled(text, header.separator)),
                    delimiter=header.separator,
                    comments=None,
                    ndmin=2,
                    usecols=None if header.all_used else places,
                )
        except (ValueError, UserWarning):
            pass
        else:
            if header.all_used and table.shape[1] == len(header.names):
                return table[:, places]
            if not header.all_used and _even(text, header):
                return table
    return _read_by_line(path, text, line, header)


def _filled(text: str, separator: str) -> str:
    """The text with `nan` in its empty cells and for `null`, as far as that is cheap."""
    empty, filled = separator * 2, f"{separator}nan{separator}"
    if empty in text:
        # Twice: cells that follow each other share a separator.
        text = text.replace(empty, filled).replace(empty, filled)
    text = text.replace(f"{separator}\n", f"{separator}nan\n")
    text = text.replace(f"\n{separator}", f"\nnan{separator}")
    if text.startswith(separator):
        text = "nan" + text
    return text.replace("null", "nan") if "null" in text else text


def _even(text: str, header: _Header) -> bool:
    """Whether every line has as many cells as the header."""
    characters = np.frombuffer(text.encode(), np.uint8)
    ends = np.flatnonzero(characters == ord("\n"))
    separators = np.flatnonzero(characters == ord(header.separator))
    before = np.searchsorted(separators, ends)
    return bool(np.all(np.diff(before, prepend=0) == len(header.names) - 1))


def _read_by_line(path: Path, text: str, line: int, header: _Header) -> Floats:
    lines = text.removesuffix("\n").split("\n")
    table = np.empty((len(lines), len(header.places)))
    for row, content in enumerate(lines):
        cells = content.split(header.separator)
        if len(cells) != len(header.names):
            raise _uneven(path, line + row, content, cells, header)
        for k, place in enumerate(header.places.values()):
            table[row, k] = _number(path, line + row, cells[place].strip(), header, place)
    return table


def _uneven(path: Path, line: int, content: str, cells: list[str], header: _Header) -> InputError:
    other = ";" if header.separator == "," else ","
    if other in content:
        return InputError(
            f"the separator here is {other}, in the header it is {header.separator}",
            file=path,
            line=line,
            hint="use one of them throughout, and a point in decimals",
        )
    if not content.strip():
        return InputError("the line is empty", file=path, line=line, hint="take it out")
    missing = len(cells) < len(header.names)
    return InputError(
        f"there are {len(cells)} cells, the header has {len(header.names)} names",
        file=path,
        line=line,
        column=header.column(len(cells)) if missing else "",
        hint="a reading that is missing is an empty cell" if missing else "take the others out",
    )


def _number(path: Path, line: int, cell: str, header: _Header, place: int) -> float:
    if cell.lower() in _MISSING:
        return float("nan")
    if _NUMBER.fullmatch(cell):
        return float(cell)
    if "," in cell or ";" in cell:
        hint = "use one separator throughout, and a point in decimals"
    elif place == 0 and cell.startswith("#"):
        hint = "a trace has no comment lines"
    else:
        hint = "it must be a number, or an empty cell for a reading that is missing"
    raise InputError(
        f"there is {cell[:60]!r}", file=path, line=line, column=header.column(place), hint=hint
    )
