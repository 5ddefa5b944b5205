"""The JSON of a vector as text: one member a line, one row a line, and the same bits when read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import copysign
from typing import Any

import orjson


def plain(value: Any) -> Any:
    """Whole numbers without a decimal point: easier to read, and the same number."""
    if isinstance(value, tuple | list):
        return [plain(part) for part in value]
    whole = isinstance(value, float) and value.is_integer() and abs(value) < 2**53
    # There is no whole number -0.
    return int(value) if whole and (value or copysign(1.0, value) > 0.0) else value


def text(value: Any) -> str:
    """One line of JSON, with a blank after each comma and colon, numbers at full precision."""
    if isinstance(value, dict):
        parts = [f"\n    {text(name)}: {text(part)}" for name, part in value.items()]
        return "{" + ",".join(parts) + "\n  }"
    if isinstance(value, tuple | list):
        return "[" + ", ".join(text(plain(part)) for part in value) + "]"
    return orjson.dumps(plain(value)).decode()


def table(columns: Iterable[str], rows: Iterable[Iterable[Any]], indent: str = "  ") -> str:
    """The members `columns` and `rows`, one row a line, each line indented."""
    lines = ",\n".join(f"{indent}  {text(plain(list(row)))}" for row in rows)
    return f'{indent}"columns": {text(list(columns))},\n{indent}"rows": [\n{lines}\n{indent}]'


def members_text(members: Mapping[str, Any]) -> list[str]:
    """Members of the outermost object, one a line."""
    return [f"  {text(name)}: {text(value)}" for name, value in members.items()]
