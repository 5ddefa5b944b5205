"""Columns of a log in our units and words."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from ctrl.errors import nearest
from harness.errors import InputError
from harness.logs.mapping import FALSE_WORDS, Column, Mapping
from harness.logs.table import Cells, Words
from harness.run import Flags, Floats, Stages


def numbers_of(cells: Cells, column: Column) -> Floats:
    """A column of numbers in our unit; the array of the table itself where nothing is to be done."""
    assert isinstance(cells, np.ndarray)
    if column.factor == 1.0 and column.offset == 0.0:
        return cells
    scaled: Floats = cells * column.factor
    # A number in millivolts is one in volts to the last digit: 55800 mV are 55.8 V, not a hair less.
    digits = max(0, 12 - _places_before_point(scaled))
    return np.round(scaled + column.offset, digits)


def _places_before_point(values: Floats) -> int:
    largest = float(np.nanmax(np.abs(values), initial=1.0))
    return int(np.floor(np.log10(largest))) + 1 if np.isfinite(largest) and largest >= 1.0 else 1


def plain_word(word: str) -> str:
    """A word as it is compared: small letters, and a whole number without its point."""
    lowered = word.strip().lower()
    try:
        number = float(lowered)
    except ValueError:
        return lowered
    return str(int(number)) if number.is_integer() else lowered


def stages_of(
    cells: Cells, mapping: Mapping, file: Path, line_of: Callable[[int], int], name: str
) -> Stages:
    """The stages as int8.

    Args:
        cells: the column of the log.
        mapping: which words are which stage.
        file: the log, for errors.
        line_of: the line of a row in it.
        name: what the column is called there.

    Raises:
        InputError: a word that is no stage, or a blank cell that nothing explains.
    """
    assert isinstance(cells, Words)
    known = {plain_word(word): stage for word, stage in mapping.stages.items()}
    table = np.full(len(cells.words) + 1, -1, np.int8)
    for place, word in enumerate(cells.words):
        if not word:
            continue
        stage = known.get(plain_word(word))
        if stage is None:
            row = int(np.flatnonzero(cells.codes == place)[0])
            raise InputError(
                f"{word[:60]!r} is no stage",
                file=file,
                line=line_of(row),
                column=name,
                hint=nearest(
                    word, mapping.stages, "Others are named in the mapping, under [stages]"
                ),
            )
        table[place] = int(stage)
    stage_of_row: Stages = table[cells.codes]
    holes = stage_of_row < 0
    if not holes.any():
        return stage_of_row
    row = int(np.flatnonzero(holes)[0])
    if not mapping.stage_as_before or row == 0:
        hint = 'if a blank cell means "as before", say [stages] blank = "before" in the mapping'
        raise InputError(
            "the stage is blank",
            file=file,
            line=line_of(row),
            column=name,
            hint="nothing is known of the row before it" if mapping.stage_as_before else hint,
        )
    latest = np.maximum.accumulate(np.where(holes, 0, np.arange(len(holes))))
    return stage_of_row[latest]


def flags_of(cells: Cells, column: Column) -> Flags:
    """A column of flags: a word that is true, or with `on_change` any change of the value."""
    assert isinstance(cells, Words)
    if column.on_change:
        changed = np.zeros(len(cells.codes), np.bool_)
        changed[1:] = cells.codes[1:] != cells.codes[:-1]
        return changed
    true = {plain_word(word) for word in column.true}
    is_true = np.array([plain_word(word) in true for word in (*cells.words, "")], np.bool_)
    flags: Flags = is_true[cells.codes]
    return flags


def unknown_flag(cells: Cells, column: Column) -> tuple[str, int] | None:
    """The first word of a column of flags that is neither true nor false, and its row."""
    if column.on_change or not isinstance(cells, Words):
        return None
    known = {*map(plain_word, column.true), *FALSE_WORDS, ""}
    for place, word in enumerate(cells.words):
        if plain_word(word) not in known:
            return word, int(np.flatnonzero(cells.codes == place)[0])
    return None
