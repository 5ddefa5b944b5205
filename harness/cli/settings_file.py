"""Settings in a file: JSON or TOML, with errors that name the line."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ctrl.settings_text import without_none
from harness.errors import InputError
from harness.json_file import load_json
from harness.text_file import UTF_8_MARK, first_character
from harness.toml_file import read_toml


def read_settings(path: str | Path) -> dict[str, Any]:
    """The settings that a file names, unchecked; the content decides between JSON and TOML.

    A setting that is off is `null` in JSON and `"none"` in TOML.

    Raises:
        InputError: the file cannot be read, or is neither; with its line.
    """
    place = Path(path)
    start = first_character(place)
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


def _refuse_twice(place: Path) -> None:
    """JSON itself would take the last of two settings of the same name."""
    content = place.read_bytes().removeprefix(UTF_8_MARK)
    try:
        pairs = json.loads(content, object_pairs_hook=list)
    except RecursionError:
        hint = "settings are no deeper than a list of two numbers"
        raise InputError("is nested too deep", file=place, hint=hint) from None
    members = pairs if isinstance(pairs, list) else []
    names = [pair[0] for pair in members if isinstance(pair, tuple)]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        line = line_of(place, twice[:1], last=True)
        raise InputError(
            f"{twice[0]} is there twice", file=place, line=line, hint="leave one of them out"
        )


def line_of(path: str | Path, names: Sequence[str], *, last: bool = False) -> int | None:
    """The line in which a file of settings gives one of these a value; None where none does.

    Args:
        path: a file that can be read.
        names: names of settings; the first that is found counts.
        last: whether the last of several places is meant, not the first.
    """
    text = Path(path).read_text(encoding="utf-8-sig")
    for name in names:
        # A comment is no place: what stands before the name is blank, or the rest of an object.
        found = list(re.finditer(rf'^[^#\n]*?(?<![\w.])"?{re.escape(name)}"?\s*[=:\]]', text, re.M))
        if found:
            return 1 + text.count("\n", 0, found[-1 if last else 0].end())
    return None
