"""Reads TOML, with errors that name the line."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from harness.errors import InputError


def read_toml(path: Path, example: str) -> dict[str, Any]:
    """What a TOML file holds.

    Args:
        path: the file; UTF-8, with or without a byte-order mark.
        example: a line as it should stand there, for the hint.

    Raises:
        InputError: the file cannot be read, or is no TOML; with its line.
    """
    try:
        content = path.read_bytes().removeprefix(b"\xef\xbb\xbf")
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", file=path) from None
    try:
        return tomllib.loads(content.decode("utf-8"))
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise InputError("is not UTF-8", file=path, line=line, hint="save it as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        text = str(error)
        where = re.search(r" \(at line (\d+), column (\d+)\)", text)
        raise InputError(
            f"is no TOML: {text[: where.start()] if where else text}",
            file=path,
            line=int(where[1]) if where else None,
            column=f"character {where[2]}" if where else "",
            hint=f"it should look like {example}",
        ) from None
