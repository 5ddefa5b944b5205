"""One file of several packs whose rows name their pack in a column."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from attrs import evolve

from harness.errors import InputError
from harness.logs.mapping import Clock, Pack
from harness.logs.table import Table, Words

# A column with more words than this does not name packs.
MOST_PACKS = 64


def split_by_pack(table: Table, column: str, pack: Pack, file: Path) -> list[tuple[Pack, Table]]:
    """The rows of each pack, in the order in which the packs come up.

    Args:
        table: all rows.
        column: the column that names the pack of a row.
        pack: where each column of readings is found, for all of them.
        file: the log, for errors.

    Raises:
        InputError: a row names no pack, or there are too many names for packs.
    """
    cells = table.columns[column]
    assert isinstance(cells, Words)
    if len(cells.words) > MOST_PACKS:
        raise InputError(
            f"there are {len(cells.words):,} different words in it, as {cells.words[0][:40]!r}",
            file=file,
            column=column,
            hint="[file] pack_column names the column that says which pack a row is of",
        )
    found = []
    for place, word in enumerate(cells.words):
        rows = np.flatnonzero(cells.codes == place)
        if not len(rows):
            continue
        if not word:
            raise InputError(
                "nothing says of which pack this row is",
                file=file,
                line=table.line_of(int(rows[0])),
                column=column,
                hint="fill the cell, or take the row out",
            )
        found.append((evolve(pack, name=word), table.taken(rows)))
    return found


def late_s(table: Table, whole: Table, clock: Clock) -> float:
    """By how much the first stamp of a pack is behind that of the file, s; 0 where stamps are dates."""
    if clock.seconds is None:
        return 0.0
    return _first_s(table, clock) - _first_s(whole, clock)


def _first_s(table: Table, clock: Clock) -> float:
    cells = table.columns[clock.name]
    assert isinstance(cells, np.ndarray)
    assert clock.seconds is not None
    known = cells[np.isfinite(cells)]
    return float(known[0]) * clock.seconds if len(known) else 0.0
