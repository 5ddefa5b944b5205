"""The trace of a charger from CSV, and what is wrong with one that cannot be read.

The columns are those of the line protocol: `t`, `own_v`, `own_a`, and for each pack, counted from
1, `request_v_1`, `request_a_1`, `pack_v_1`, `pack_a_1`, `age_s_1`; `stage_1` may be left out, since
no rule reads it. A cell is empty where a number is missing.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from ctrl.errors import nearest
from ctrl.vocabulary import Stage
from harness.charger.case import NO_STAGE, OWN_COLUMNS, PACK_COLUMNS, ChargerTrace, trace_columns
from harness.errors import InputError, cannot_read

STAGE = "stage"
_MISSING = frozenset({"", "nan", "null"})
_STAGES = {stage.word: int(stage) for stage in Stage}
_PACK = re.compile(r"_([1-9][0-9]{0,8})$")


def read_charger_trace(path: str | Path) -> ChargerTrace:
    """Read a whole trace.

    Raises:
        InputError: the file cannot be read, or is no trace; with file, line and column.
    """
    place = Path(path)
    try:
        text = place.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise cannot_read(place, error) from None
    except UnicodeDecodeError as error:
        raise InputError(
            f"byte 0x{error.object[error.start]:02x} is not UTF-8",
            file=place,
            line=1 + error.object.count(b"\n", 0, error.start),
            hint="save the file as UTF-8",
        ) from None
    lines = text.rstrip().splitlines()
    if not lines:
        raise InputError(
            "the file is empty",
            file=place,
            hint=f"the first line must be {','.join(trace_columns(1))}",
        )
    separator = ";" if ";" in lines[0] else ","
    names = [name.strip() for name in lines[0].split(separator)]
    packs = _packs_of(place, names)
    if len(lines) == 1:
        raise InputError(
            "there is a header and nothing else", file=place, line=2, hint="add one row a sample"
        )
    columns: dict[str, list[float]] = {name: [] for name in names}
    for number, line in enumerate(lines[1:], start=2):
        row = _cells(place, number, line, separator)
        if len(row) != len(names):
            raise InputError(
                f"there are {len(row)} cells, the header has {len(names)} names",
                file=place,
                line=number,
                hint="a number that is missing is an empty cell",
            )
        for column, (name, cell) in enumerate(zip(names, row, strict=True), start=1):
            columns[name].append(_value(place, number, f"column {column} ({name})", name, cell))
    return _trace(columns, packs, len(lines) - 1)


def _cells(path: Path, number: int, line: str, separator: str) -> list[str]:
    """The cells of one line: a quoted cell that does not end in it must not swallow the next."""
    try:
        return next(csv.reader([line], delimiter=separator, strict=True), [])
    except csv.Error as error:
        hint = "a cell is a number or a word, and a quoted one ends in its line"
        raise InputError(f"is no CSV: {error}", file=path, line=number, hint=hint) from None


def _packs_of(path: Path, names: Sequence[str]) -> int:
    """How many packs the header names; refuses one that is not whole."""
    packs = max((int(found[1]) for name in names if (found := _PACK.search(name))), default=1)
    known = trace_columns(min(packs, len(names)))
    for column, name in enumerate(names, start=1):
        if name not in known or name in names[: column - 1]:
            twice = "two columns of the name" if name in known else "no column"
            raise InputError(
                f"there {'are' if name in known else 'is'} {twice} {name!r}",
                file=path,
                line=1,
                column=f"column {column} ({name})",
                hint=nearest(name, known),
            )
    for name in known:
        if name not in names and not name.startswith(f"{STAGE}_"):
            raise InputError(
                f"the column {name} is missing",
                file=path,
                line=1,
                hint=f"with {packs} {'pack' if packs == 1 else 'packs'} a trace has "
                f"{', '.join(known)}",
            )
    return packs


def _value(path: Path, line: int, column: str, name: str, cell: str) -> float:
    word = cell.strip()
    if name.startswith(f"{STAGE}_"):
        if word.lower() in _MISSING:
            return NO_STAGE
        if word in _STAGES:
            return _STAGES[word]
        hint = f"a stage is one of {', '.join(_STAGES)}, or an empty cell where it is not told"
        raise InputError(f"there is {word[:60]!r}", file=path, line=line, column=column, hint=hint)
    if word.lower() in _MISSING:
        return math.nan
    try:
        return float(word)
    except ValueError:
        raise InputError(
            f"there is {word[:60]!r}",
            file=path,
            line=line,
            column=column,
            hint="it must be a number, or an empty cell where one is missing",
        ) from None


def _trace(columns: dict[str, list[float]], packs: int, samples: int) -> ChargerTrace:
    parts: dict[str, Any] = {name: np.array(columns[name], dtype=float) for name in OWN_COLUMNS}
    for name in PACK_COLUMNS:
        kind = np.int8 if name == STAGE else np.float64
        untold = [NO_STAGE] * samples
        each = [columns.get(f"{name}_{p}", untold) for p in range(1, packs + 1)]
        parts[name] = np.array(each, dtype=kind).T
    return ChargerTrace(**parts)
