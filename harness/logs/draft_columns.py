"""What the columns of a log look like: a guess by their names, their units and what is in them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime

import numpy as np
from attrs import frozen

from harness.logs.mapping import MISSING
from harness.logs.units import UNITS_OF
from harness.run import Floats

ISO = "iso"
# Orders of a date in which a day and a month cannot be taken for each other come first.
PATTERNS = tuple(
    f"{date} {time}"
    for date in ("%d.%m.%Y", "%Y/%m/%d", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y")
    for time in ("%H:%M:%S", "%H:%M", "%H:%M:%S.%f", "%I:%M:%S %p")
)
# A cell has less than this, a pack more, V.
CELL_BELOW_V = 5.0
# A log is looked at in so many parts; so much alike must rise and current be to tell the sign.
PARTS, CLEAR = 24, 0.3
# A column with more words than this names neither stages nor packs.
MOST_WORDS = 16
_UNIT = re.compile(
    r"[\[(/]\s*([^\])/\[(]{1,8}?)\s*[\])]?\s*$|[_ ]([munk]?[VAC]|degC|°C|%|percent)$"
)
# Words of the trade, whole or the beginnings of them, in a few languages.
OF_CHARGER = ("charger", "lader", "ladeger", "chargeur", "cargador", "caricab", "lator")
OF_REQUEST = (
    "request",
    "target",
    "setpoint",
    "set-point",
    "set point",
    "asked",
    "soll",
    "consigne",
    "limit",
)
OF_LOWEST = ("min", "low", "tief", "nied")
OF_PACK = ("pack", "bank", "batter", "string", "module", "modul")
OF_VOLTAGE = ("volt", "spannung", "tension", "voltaje", "tensione")
OF_CURRENT = ("current", "amp", "strom", "courant", "corriente", "corrente")
OF_STAGE = (
    "stage",
    "state",
    "mode",
    "modus",
    "phase",
    "zustand",
    "status",
    "etat",
    "estado",
    "stato",
)
OF_TIME = ("time", "zeit", "stamp", "second", "sekunde", "temps", "heure", "tiempo", "tempo")


@frozen(eq=False)
class Seen:
    """A column of a log as a person would look at it.

    Attributes:
        name: what it is called.
        cells: some of its cells.
        values: these as numbers, NaN where a cell is blank; None where it is no column of numbers.
    """

    name: str
    cells: Sequence[str]
    values: Floats | None

    @property
    def unit(self) -> str:
        """The unit in its name; empty where there is none."""
        found = _UNIT.search(self.name)
        return (found[1] or found[2] or "").strip() if found else ""

    @property
    def first(self) -> str:
        """The first cell that is not blank."""
        return next((cell for cell in self.cells if cell), "")

    @property
    def words(self) -> tuple[str, ...]:
        """Its different words, in the order in which they come."""
        return tuple(dict.fromkeys(cell for cell in self.cells if cell))

    def says(self, words: Sequence[str]) -> bool:
        """Whether its name has one of these in it."""
        lowered = self.name.lower()
        return any(word in lowered for word in words)

    def measures(self, ours: str, words: Sequence[str] = ()) -> bool:
        """Whether it has numbers in a unit of one of our columns, or is called so."""
        if self.values is None or not np.isfinite(self.values).any():
            return False
        return self.unit in UNITS_OF[ours] if self.unit else self.says(words)

    def middle(self, ours: str) -> float:
        """The middle of its values in our unit."""
        assert self.values is not None
        units = UNITS_OF[ours]
        unit = units[self.unit] if self.unit in units else next(iter(units.values()))
        return float(np.nanmedian(self.values)) * unit.factor + unit.offset


def seen(name: str, cells: Sequence[str], decimal: str) -> Seen:
    """A column with its numbers, where it has nothing else."""
    pointed = [cell if decimal == "." else cell.replace(decimal, ".") for cell in cells]
    try:
        numbers = [
            float("nan") if cell.lower() in MISSING else float(cell.replace("_", "x"))
            for cell in pointed
        ]
    except ValueError:
        return Seen(name, cells, None)
    return Seen(name, cells, np.array(numbers, np.float64))


def date_format(column: Seen) -> str:
    """How a column writes dates, as `[time] format` has it; empty where it has none."""
    cells = [cell for cell in column.cells if cell.lower() not in MISSING]
    if column.values is not None or not cells:
        return ""
    if all(_is_iso(cell) for cell in cells):
        return ISO
    return next((each for each in PATTERNS if all(_is_date(c, each) for c in cells)), "")


def two_ways(column: Seen, pattern: str) -> str:
    """Another order in which the same dates can be read; empty where there is none."""
    others = [each for each in PATTERNS if each != pattern and each[-8:] == pattern[-8:]]
    cells = [cell for cell in column.cells if cell.lower() not in MISSING]
    return next((each for each in others if all(_is_date(c, each) for c in cells)), "")


def _is_iso(cell: str) -> bool:
    try:
        datetime.fromisoformat(cell)
    except ValueError:
        return False
    return ":" in cell


def _is_date(cell: str, pattern: str) -> bool:
    try:
        datetime.strptime(cell, pattern)
    except ValueError:
        return False
    return True


def charging_is_negative(level: Seen, i: Seen) -> bool | None:
    """Whether what a charge raises rises while the number of the current is negative.

    From one row to the next a voltage may fall while a pack is charged; over a part of a day it rises.

    Args:
        level: the count of charge, or the voltage.
        i: the current.

    Returns:
        None where it is not clear.
    """
    assert level.values is not None
    assert i.values is not None
    whole = np.isfinite(level.values) & np.isfinite(i.values)
    levels, currents = level.values[whole], i.values[whole]
    if len(levels) < 4 * PARTS:
        return None
    rose = np.diff([float(part.mean()) for part in np.array_split(levels, PARTS)])
    mean = np.array([float(part.mean()) for part in np.array_split(currents, PARTS)])
    flowed = 0.5 * (mean[1:] + mean[:-1])
    size = float(np.sqrt((rose**2).sum() * (flowed**2).sum()))
    likeness = float((rose * flowed).sum()) / size if size > 0.0 else 0.0
    return None if abs(likeness) < CLEAR else likeness < 0
