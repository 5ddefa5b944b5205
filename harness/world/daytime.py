"""Times of day, as scenarios write them: `06:30`."""

from __future__ import annotations

import re
from typing import Any

from attrs import Attribute

from harness.errors import InputError

DAY_S = 86_400.0
_WRITTEN = re.compile(r"([01]\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?|24:00")


def seconds_of(written: str) -> float:
    """Seconds since midnight of `HH:MM` or `HH:MM:SS`; raises `InputError`."""
    found = _WRITTEN.fullmatch(written) if isinstance(written, str) else None
    if found is None:
        raise InputError(f"{written!r} is no time of day", hint="HH:MM, from 00:00 to 24:00")
    if found[1] is None:
        return DAY_S
    return 3600.0 * int(found[1]) + 60.0 * int(found[2]) + float(found[3] or 0)


def time_of_day(_: Any, attribute: Attribute[Any], value: Any) -> None:
    """A validator for a time of day."""
    try:
        seconds_of(value)
    except InputError as error:
        raise InputError(
            f"{attribute.name} is {value!r}", column=attribute.name, hint=error.hint
        ) from None


def written(since_midnight_s: float) -> str:
    """A time of day as `HH:MM:SS`; what is beyond midnight starts the next day."""
    whole = int(since_midnight_s % DAY_S)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}"
