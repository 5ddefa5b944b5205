"""Where a field of a TOML file stands: its line, by the path that leads to it."""

from __future__ import annotations

import re
from collections import Counter

_HEAD = re.compile(r"^\s*(\[\[?)([^\[\]]+)\]\]?\s*(?:#.*)?$")
_FIELD = re.compile(
    r"^\s*((?:[\w-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[\w-]+|\"[^\"]*\"|'[^']*'))*)\s*="
)
_PART = re.compile(r"[\w-]+|\"[^\"]*\"|'[^']*'")
_LONG = ('"""', "'''")


def line_of(text: str, path: str) -> int | None:
    """The line in which a field begins, or the nearest of the tables around it.

    Args:
        text: the content of the file.
        path: the names that lead to the field, such as `pack[0].cell.capacity_ah`; tables of an
            array are counted from 0.

    Returns:
        The line, counted from 1; None where nothing on the way to the field has a line of its own.
    """
    places = _places(text)
    wanted = path
    while wanted:
        if wanted in places:
            return places[wanted]
        wanted = wanted[: max(wanted.rfind("."), wanted.rfind("["), 0)]
    return None


def _places(text: str) -> dict[str, int]:
    """The line of each table and each field that has a line of its own, by its path."""
    found: dict[str, int] = {}
    count: Counter[str] = Counter()
    table, inside = "", ""
    for number, line in enumerate(text.splitlines(), start=1):
        if inside:
            inside = "" if inside in line else inside
            continue
        if (head := _HEAD.match(line)) is not None:
            table = _full(head[2], count)
            if head[1] == "[[":
                count[table] += 1
                table = f"{table}[{count[table] - 1}]"
            found.setdefault(table, number)
        elif (field := _FIELD.match(line)) is not None:
            name = ".".join(part.strip("\"'") for part in _PART.findall(field[1]))
            found.setdefault(f"{table}.{name}" if table else name, number)
            inside = next((mark for mark in _LONG if line.count(mark) == 1), "")
    return found


def _full(name: str, count: Counter[str]) -> str:
    """The path of a table, with the number of the last table of each array on the way."""
    path = ""
    for part in _PART.findall(name):
        if path in count:
            path = f"{path}[{count[path] - 1}]"
        path = f"{path}.{part.strip(chr(34) + chr(39))}" if path else part.strip("\"'")
    return path
