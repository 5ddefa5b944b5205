"""Fields of a TOML table, each with an error that names file, line and field."""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from ctrl.errors import nearest
from harness.errors import InputError
from harness.toml_place import line_of

# A whole number may be larger than any that can be reckoned with.
_LARGEST = sys.float_info.max


class Fields:
    """One table of a TOML file.

    Attributes:
        values: what it holds.
        file: the file.
        path: the names of the tables that lead to it, with dots.
    """

    def __init__(self, values: Mapping[str, Any], file: Path, path: str = "") -> None:
        self.values = values
        self.file = file
        self.path = path

    def __contains__(self, name: str) -> bool:
        return name in self.values

    def line(self, name: str = "") -> int | None:
        """The line of a field, or of the table around it; None where neither has one."""
        text = self.file.read_text(encoding="utf-8-sig")
        # In errors tables are counted from 1, as people count.
        place = re.sub(r"\[(\d+)\]", lambda found: f"[{int(found[1]) - 1}]", self.path)
        return line_of(text, ".".join(part for part in (place, name) if part))

    def wrong(self, name: str, message: str, hint: str) -> InputError:
        """The error of one field."""
        where = f"{self.path}.{name}" if self.path else name
        return InputError(message, file=self.file, line=self.line(name), column=where, hint=hint)

    def only(self, *known: str) -> None:
        """Refuse any field that is not one of these."""
        for name in self.values:
            if name not in known:
                raise self.wrong(name, f"there is no field {name!r}", nearest(name, known))

    def table(self, name: str) -> Fields:
        """A table in it; empty where there is none."""
        value = self.values.get(name, {})
        if not isinstance(value, dict):
            raise self.wrong(name, f"there is {value!r:.60}", "it must be a table")
        return Fields(value, self.file, f"{self.path}.{name}" if self.path else name)

    def tables(self, name: str) -> list[Fields]:
        """The tables `[[name]]`; none where there are none."""
        value = self.values.get(name, [])
        if not isinstance(value, list) or not all(isinstance(each, dict) for each in value):
            raise self.wrong(name, "it is no list of tables", f"write [[{name}]] for each")
        return [Fields(each, self.file, f"{name}[{k + 1}]") for k, each in enumerate(value)]

    def text(self, name: str, default: str | None = None) -> str:
        """A text that is not empty, unless that is what stands for none."""
        value = self.values.get(name, default)
        if not isinstance(value, str) or (not value and default is None):
            said = "it is missing" if name not in self.values else f"there is {value!r:.60}"
            raise self.wrong(name, said, "it must be a text in quotes")
        return value

    def word(self, name: str, default: str, known: Sequence[str]) -> str:
        """One of these words."""
        value = self.text(name, default)
        if value not in known:
            raise self.wrong(name, f"there is {value!r:.60}", nearest(value, known))
        return value

    def words(self, name: str, default: Iterable[str]) -> tuple[str, ...]:
        """A word or number, or a list of them, as text."""
        if name not in self.values:
            return tuple(default)
        value = self.values[name]
        each = value if isinstance(value, list) else [value]
        if not all(isinstance(one, str | int | float) for one in each):
            raise self.wrong(name, f"there is {value!r:.60}", "write words or numbers in a list")
        return tuple(str(one) for one in each)

    def number(self, name: str, default: float | None = None, *, low: float = -math.inf) -> float:
        """A finite number above `low`."""
        value = self.values.get(name, default)
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not -_LARGEST <= value <= _LARGEST
        ):
            raise self.wrong(name, f"there is {value!r:.60}", "it must be a number")
        if value < low or (value == low == 0.0):
            raise self.wrong(name, f"it is {value:g}", f"it must be greater than {low:g}")
        return float(value)

    def flag(self, name: str, *, default: bool) -> bool:
        """True or false."""
        value = self.values.get(name, default)
        if not isinstance(value, bool):
            raise self.wrong(name, f"there is {value!r:.60}", "it must be true or false")
        return value
