"""Settings in a file: JSON or TOML, with errors that name the line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from ctrl.settings import OPTIONAL_SETTINGS
from ctrl.settings_text import NONE
from harness.cases.trace_file import load_json
from harness.errors import InputError
from harness.toml_file import read_toml


def read_settings(path: str | Path) -> dict[str, Any]:
    """The settings that a file names, unchecked; the content decides between JSON and TOML.

    A setting that is off is `null` in JSON and `"none"` in TOML.

    Raises:
        InputError: the file cannot be read, or is neither; with its line.
    """
    place = Path(path)
    start = _start(place)
    if not start:
        raise InputError(
            "the file is empty", file=place, hint="write settings as TOML, such as hold_s = 360"
        )
    if place.suffix.lower() == ".json" or start == b"{":
        named = load_json(place)
        _refuse_twice(place)
    else:
        named = read_toml(place, 'hold_s = 360, or sag_v = "none"')
    if not isinstance(named, dict):
        raise InputError(
            f"there is a {type(named).__name__}",
            file=place,
            hint="it must be an object of settings",
        )
    return {name: without_none(name, value) for name, value in named.items()}


def without_none(name: str, value: Any) -> Any:
    """The value of a setting, None where it is the word for off and the setting may be off."""
    return None if value == NONE and name in OPTIONAL_SETTINGS else value


def _refuse_twice(place: Path) -> None:
    """JSON itself would take the last of two settings of the same name."""
    pairs = json.loads(place.read_bytes().removeprefix(b"\xef\xbb\xbf"), object_pairs_hook=list)
    names = [pair[0] for pair in pairs if isinstance(pair, tuple)]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise InputError(f"{twice[0]} is there twice", file=place, hint="leave one of them out")


def _start(place: Path) -> bytes:
    """The first character of a file that is not blank; empty where there is none."""
    try:
        content = place.read_bytes()
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", file=place) from None
    return content.removeprefix(b"\xef\xbb\xbf").lstrip()[:1]
