"""What a reader is asked for, and what it gives: columns of numbers, words and stamps."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import Enum
from pathlib import Path

import numpy as np
import numpy.typing as npt
from attrs import field, frozen

from ctrl.errors import nearest
from harness.errors import InputError
from harness.run import Floats

Codes = npt.NDArray[np.int32]
Indices = npt.NDArray[np.intp]


class Kind(Enum):
    """What is in the cells of a column."""

    NUMBER = "a number"
    WORD = "a word"
    DATE = "a date"


@frozen(eq=False)
class Words:
    """A column of words: for each row the place of its word in `words`."""

    codes: Codes
    words: tuple[str, ...]

    @classmethod
    def joined(cls, parts: Iterable[Words]) -> Words:
        """The words of consecutive pieces as one column."""
        places: dict[str, int] = {}
        codes = []
        for part in parts:
            move = np.array([places.setdefault(w, len(places)) for w in part.words], np.int32)
            codes.append(move[part.codes] if len(move) else part.codes)
        return cls(np.concatenate(codes) if codes else np.empty(0, np.int32), tuple(places))


@frozen(eq=False)
class Dates:
    """A column of dates.

    Attributes:
        us: microseconds since 1970 in `zone`; the least int64 where there is none.
        has_zone: whether they are in UTC; otherwise they are local time of a zone not named.
    """

    us: npt.NDArray[np.int64]
    has_zone: bool


NO_DATE = np.iinfo(np.int64).min
Cells = Floats | Words | Dates


@frozen(eq=False)
class Table:
    """The columns that were asked for, by the names in the log.

    Attributes:
        columns: each as long as the log.
        lines: the line of each row in the file, as `first line - row` where no row was left out.
        note: what was left out at the end of the file.
    """

    columns: Mapping[str, Cells] = field(factory=dict)
    lines: Indices | int = 1
    note: str = ""

    def line_of(self, row: int) -> int:
        """The line of the file in which a row stands, counted from 1."""
        return self.lines + row if isinstance(self.lines, int) else int(self.lines[row])

    def taken(self, rows: Indices) -> Table:
        """Some of the rows, in their order."""
        columns = {name: _taken(cells, rows) for name, cells in self.columns.items()}
        lines = self.lines + rows if isinstance(self.lines, int) else self.lines[rows]
        return Table(columns, lines, self.note)


def _taken(cells: Cells, rows: Indices) -> Cells:
    if isinstance(cells, Words):
        # Words of other rows are not of these.
        used, codes = np.unique(cells.codes[rows], return_inverse=True)
        return Words(codes.astype(np.int32), tuple(cells.words[k] for k in used.tolist()))
    if isinstance(cells, Dates):
        return Dates(cells.us[rows], cells.has_zone)
    return cells[rows]


def joined(parts: list[Cells], path: Path, name: str) -> Cells:
    """The pieces of one column as one."""
    first = parts[0]
    if isinstance(first, Words):
        return Words.joined(part for part in parts if isinstance(part, Words))
    if isinstance(first, Dates):
        dates = [part for part in parts if isinstance(part, Dates) and (part.us != NO_DATE).any()]
        if len({part.has_zone for part in dates}) > 1:
            raise mixed_zones(path, name)
        zoned = dates[0].has_zone if dates else False
        return Dates(np.concatenate([p.us for p in parts if isinstance(p, Dates)]), zoned)
    return np.concatenate([part for part in parts if isinstance(part, np.ndarray)])


def mixed_zones(path: Path, name: str) -> InputError:
    """The error of dates of which some have a zone."""
    return InputError(
        "some dates have a zone and some have none",
        file=path,
        column=name,
        hint="write all of them alike",
    )


def places_of(
    wanted: Iterable[str],
    names: tuple[str, ...],
    path: Path,
    line: int | None,
    told: Mapping[str, str],
) -> dict[str, int]:
    """Which column of the log is which of those that are asked for.

    Args:
        wanted: names in the log.
        names: the names that there are.
        path: the file.
        line: line of the header.
        told: for each wanted name where the mapping asks for it.

    Raises:
        InputError: a column does not exist, or two have its name.
    """
    places = {}
    for name in wanted:
        found = [k for k, other in enumerate(names) if other == name]
        if not found:
            raise InputError(
                f"there is no column {name!r}, which {told.get(name, 'is needed')}",
                file=path,
                line=line,
                hint=_hint(name, names),
            )
        if len(found) > 1:
            raise InputError(
                f"there are two columns of the name {name!r}",
                file=path,
                line=line,
                column=f"column {found[1] + 1} ({name})",
                hint=f"the other is column {found[0] + 1}",
            )
        places[name] = found[0]
    return places


def _hint(name: str, names: tuple[str, ...]) -> str:
    if len(names) == 1:
        return (
            f"the whole header is {names[0][:60]!r}: is the delimiter another one? "
            'Name it in the mapping, as [file] delimiter = ";"'
        )
    lowered = {other.lower(): other for other in names}
    if name.lower() in lowered:
        return f"did you mean {lowered[name.lower()]!r}?"
    return nearest(name, names)
