"""Three ways to read the cells of whole lines, which give the same: pyarrow, Python, cell by cell."""

from __future__ import annotations

import csv
import io
import re
import warnings
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from attrs import frozen

from harness.errors import InputError
from harness.logs.blocks import SAVE_AS_UTF_8
from harness.logs.table import NO_DATE, Cells, Dates, Kind, Words

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|[+-]?inf(inity)?", re.I | re.ASCII)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_DATE = "a date in ISO 8601, such as 2026-06-01T12:00:00 or 2026-06-01 12:00:00+02:00"


@frozen
class Shape:
    """How the cells of a row lie.

    Attributes:
        names: every column of the log.
        places: which of them are read.
        kinds: what is in these.
        delimiter: what stands between two cells.
        decimal: the decimal mark.
        missing: words for a value that is missing, in small letters.
        pattern: how dates are written, as for `strptime`; empty for ISO 8601.
    """

    names: tuple[str, ...]
    places: Mapping[str, int]
    kinds: Mapping[str, Kind]
    delimiter: str
    decimal: str
    missing: frozenset[str]
    pattern: str = ""


def by_arrow(block: bytes, rows: int, shape: Shape) -> dict[str, Cells] | None:
    """The columns, by pyarrow; None where it does not take the block."""
    import pyarrow as pa
    from pyarrow import csv as arrow

    # It would take an empty line for a row of missing values, and close a quote that is left open.
    if block.startswith(b"\n") or b"\n\n" in block or _left_open(block):
        return None
    # Names of our own: those of a log may be there twice where they are not read.
    names = [str(k) for k in range(len(shape.names))]
    types = {
        names[place]: pa.float64() if shape.kinds[name] is Kind.NUMBER else pa.string()
        for name, place in shape.places.items()
    }
    spelled = {w for word in shape.missing for w in (word, word.upper(), word.title())}
    try:
        table = arrow.read_csv(
            pa.BufferReader(block),
            read_options=arrow.ReadOptions(column_names=names, block_size=1 << 21),
            parse_options=arrow.ParseOptions(delimiter=shape.delimiter, ignore_empty_lines=False),
            convert_options=arrow.ConvertOptions(
                column_types=types,
                include_columns=list(types),
                null_values=[*spelled, "NaN", "nan"],
                strings_can_be_null=True,
                decimal_point=shape.decimal,
            ),
        )
    except (pa.ArrowInvalid, pa.ArrowKeyError):
        return None
    if table.num_rows != rows:
        return None
    found: dict[str, Cells] = {}
    for name, place in shape.places.items():
        column = table.column(names[place])
        kind = shape.kinds[name]
        if kind is Kind.NUMBER:
            found[name] = np.array(column.to_numpy(), np.float64)
        elif kind is Kind.WORD:
            found[name] = words_of_arrow(column)
        else:
            dates = _dates_of_arrow(column)
            if dates is None:
                return None
            found[name] = dates
    return found


def _left_open(block: bytes) -> bool:
    """Whether a quote is open at the end of a line."""
    if b'"' not in block:
        return False
    characters = np.frombuffer(block, np.uint8)
    quotes, ends = np.flatnonzero(characters == ord('"')), np.flatnonzero(characters == ord("\n"))
    return bool((np.searchsorted(quotes, ends) % 2).any())


def words_of_arrow(column: Any) -> Words:
    """A column of text as words; what is missing is the empty word."""
    import pyarrow.compute as pc

    each = pc.utf8_trim_whitespace(pc.fill_null(column, "")).combine_chunks().dictionary_encode()
    if hasattr(each, "combine_chunks"):
        each = each.combine_chunks()
    return Words(
        each.indices.to_numpy(zero_copy_only=False).astype(np.int32),
        tuple(each.dictionary.to_pylist()),
    )


def _dates_of_arrow(column: Any) -> Dates | None:
    import pyarrow as pa
    import pyarrow.compute as pc

    text = pc.utf8_trim_whitespace(column)
    for zone in (None, "UTC"):
        try:
            stamps = pc.cast(text, pa.timestamp("us", tz=zone))
        except pa.ArrowInvalid:
            continue
        us = pc.fill_null(stamps.cast(pa.int64()), int(NO_DATE)).to_numpy()
        return Dates(np.array(us, np.int64), zone is not None)
    return None


def by_python(block: bytes, rows: int, shape: Shape) -> dict[str, Cells] | None:
    """The columns, by Python and numpy alone; None where they do not take the block."""
    try:
        text = _unquoted(block.decode("utf-8"), shape.delimiter)
    except UnicodeDecodeError:
        return None
    if '"' in text or "_" in text or "\0" in text or "\r" in text or not _even(text, shape):
        return None
    lines = text[:-1].split("\n")
    if len(lines) != rows or "" in lines:
        return None
    found = _numbers_at_once(text, shape)
    for name, place in shape.places.items():
        if name in found:
            continue
        cells = [line.split(shape.delimiter, place + 1)[place].strip() for line in lines]
        kind = shape.kinds[name]
        try:
            if kind is Kind.NUMBER:
                found[name] = np.array([_quick(cell, shape) for cell in cells])
            elif kind is Kind.WORD:
                found[name] = _words(cells, shape)
            else:
                found[name] = _dates([_date(cell, shape) for cell in cells])
        except ValueError:
            return None
    return found


def _unquoted(text: str, delimiter: str) -> str:
    """The text without quotes around cells, where none of these hides a delimiter or a quote."""
    if '"' not in text:
        return text
    plain = re.compile(rf'(?<![^\n{re.escape(delimiter)}])"([^"\n{re.escape(delimiter)}]*)"')
    return plain.sub(r"\1", text)


def _even(text: str, shape: Shape) -> bool:
    """Whether every line has as many cells as the header."""
    characters = np.frombuffer(text.encode(), np.uint8)
    ends = np.flatnonzero(characters == ord("\n"))
    delimiters = np.flatnonzero(characters == ord(shape.delimiter))
    before = np.searchsorted(delimiters, ends)
    return bool(np.all(np.diff(before, prepend=0) == len(shape.names) - 1))


def _numbers_at_once(text: str, shape: Shape) -> dict[str, Cells]:
    """The columns of numbers, where numpy takes all of them; none otherwise."""
    names = [name for name in shape.places if shape.kinds[name] is Kind.NUMBER]
    if shape.decimal != ".":
        if "." in text:
            return {}
        text = text.replace(shape.decimal, ".")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            table = np.loadtxt(
                io.StringIO(text),
                delimiter=shape.delimiter,
                comments=None,
                ndmin=2,
                usecols=[shape.places[name] for name in names],
            )
    except (ValueError, UserWarning):
        return {}
    return {name: table[:, k].copy() for k, name in enumerate(names)}


def _quick(cell: str, shape: Shape) -> float:
    if shape.decimal != ".":
        if "." in cell:
            raise ValueError(cell)
        cell = cell.replace(shape.decimal, ".")
    try:
        return float(cell)
    except ValueError:
        if cell.lower() in shape.missing:
            return float("nan")
        raise


def _words(cells: list[str], shape: Shape) -> Words:
    places: dict[str, int] = {}
    known = ["" if cell.lower() in shape.missing else cell for cell in cells]
    codes = np.array([places.setdefault(cell, len(places)) for cell in known], np.int32)
    return Words(codes, tuple(places))


def _date(cell: str, shape: Shape) -> datetime | None:
    if cell.lower() in shape.missing:
        return None
    if shape.pattern:
        return datetime.strptime(cell, shape.pattern)
    return datetime.fromisoformat(cell)


def _dates(dates: list[datetime | None]) -> Dates:
    zoned = {date.tzinfo is not None for date in dates if date is not None}
    if len(zoned) > 1:
        raise ValueError("some have a zone")
    us = [
        NO_DATE
        if date is None
        else round(
            ((date if date.tzinfo else date.replace(tzinfo=UTC)) - _EPOCH).total_seconds() * 1e6
        )
        for date in dates
    ]
    return Dates(np.array(us, np.int64), True in zoned)


def by_cell(path: Path, block: bytes, line: int, shape: Shape) -> dict[str, Cells]:
    """The columns, cell by cell.

    Raises:
        InputError: a cell cannot be read; with its line and column.
    """
    table: dict[str, list[Any]] = {name: [] for name in shape.places}
    for number, raw in enumerate(block[:-1].split(b"\n"), start=line):
        cells = _row(path, raw, number, shape)
        for name, place in shape.places.items():
            cell = cells[place].strip()
            try:
                table[name].append(_value(cell, shape.kinds[name], shape))
            except ValueError:
                raise _unreadable(path, number, cell, name, place, shape) from None
    found: dict[str, Cells] = {}
    for name, values in table.items():
        kind = shape.kinds[name]
        if kind is Kind.NUMBER:
            found[name] = np.array(values, np.float64)
        elif kind is Kind.WORD:
            found[name] = _words(values, shape)
        else:
            found[name] = _zoned_alike(path, values, line, name)
    return found


def _zoned_alike(path: Path, values: list[datetime | None], line: int, name: str) -> Dates:
    try:
        return _dates(values)
    except ValueError:
        first = next(date for date in values if date is not None)
        odd = next(
            k for k, date in enumerate(values)
            if date is not None and (date.tzinfo is None) != (first.tzinfo is None)
        )  # fmt: skip
        raise InputError(
            "this date has a zone and the others have none"
            if first.tzinfo is None
            else "this date has no zone and the others have one",
            file=path,
            line=line + odd,
            column=name,
            hint="write all of them alike",
        ) from None


def _row(path: Path, raw: bytes, line: int, shape: Shape) -> list[str]:
    if b"\0" in raw:
        raise InputError(
            "there is a NUL byte",
            file=path,
            line=line,
            column=f"byte {raw.index(0) + 1}",
            hint="a log is plain text in UTF-8",
        )
    try:
        text = raw.decode("utf-8").rstrip("\r")
    except UnicodeDecodeError as error:
        raise InputError(
            f"byte 0x{raw[error.start]:02x} is not UTF-8",
            file=path,
            line=line,
            column=f"byte {error.start + 1}",
            hint=SAVE_AS_UTF_8,
        ) from None
    if not text.strip():
        raise InputError("the line is empty", file=path, line=line, hint="take it out")
    try:
        cells = next(csv.reader([text], delimiter=shape.delimiter, strict=True))
    except csv.Error as error:
        hint = "a quoted cell ends in its line"
        raise InputError(f"{error}", file=path, line=line, hint=hint) from None
    if len(cells) != len(shape.names):
        few = len(cells) < len(shape.names)
        raise InputError(
            f"there are {len(cells)} cells, the header has {len(shape.names)} names",
            file=path,
            line=line,
            column=f"column {len(cells) + 1} ({shape.names[len(cells)]})" if few else "",
            hint=_uneven_hint(text, few=few, shape=shape),
        )
    return cells


def _uneven_hint(text: str, *, few: bool, shape: Shape) -> str:
    if few:
        return f"cells are parted by {shape.delimiter!r}, and a missing reading is an empty cell"
    if shape.delimiter == "," and re.search(r"\d,\d", text):
        return "are these decimal commas? Say so in the mapping, as [file] decimal"
    return "take the others out"


def _value(cell: str, kind: Kind, shape: Shape) -> Any:
    if kind is Kind.DATE:
        return _date(cell, shape)
    if kind is Kind.WORD:
        return cell
    if cell.lower() in shape.missing:
        return float("nan")
    pointed = cell if shape.decimal == "." else cell.replace(".", "x").replace(shape.decimal, ".")
    if not _NUMBER.fullmatch(pointed):
        raise ValueError(cell)
    return float(pointed)


def _unreadable(
    path: Path, line: int, cell: str, name: str, place: int, shape: Shape
) -> InputError:
    kind = shape.kinds[name]
    hint = f"it must be {_DATE if kind is Kind.DATE else kind.value}"
    if kind is Kind.DATE and shape.pattern:
        example = datetime(2026, 6, 1, 12, 30, tzinfo=UTC).strftime(shape.pattern)
        hint = f"it must be written as {example}, by [time] format in the mapping"
    elif kind is Kind.DATE and not re.match(r"\d{4}-", cell):
        hint += "; other orders are named in the mapping, as [time] format = '%d.%m.%Y %H:%M:%S'"
    elif kind is Kind.NUMBER and re.match(r"\d+[-./]\d+[-./]\d+", cell):
        hint = "is it a date? Say so in the mapping, as [time] format = 'iso'"
    elif kind is Kind.NUMBER and shape.decimal == "." and re.fullmatch(r"[+-]?\d+,\d+", cell):
        hint = 'is it a decimal comma? Say so in the mapping, as [file] decimal = ","'
    elif kind is Kind.NUMBER:
        hint += ', an empty cell, or a word for a missing reading: [file] missing = ["..."]'
    shown = cell if len(cell) <= 60 else f"{cell[:57]}..."
    return InputError(
        f"there is {shown!r}",
        file=path,
        line=line,
        column=f"column {place + 1} ({name})",
        hint=hint,
    )
