"""Reads TOML, with errors that name the line."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from harness.errors import InputError, cannot_read
from harness.text_file import UTF_8_MARK


def read_toml(path: Path, example: str) -> dict[str, Any]:
    """What a TOML file holds.

    Args:
        path: the file; UTF-8, with or without a byte-order mark.
        example: a line as it should stand there, for the hint.

    Raises:
        InputError: the file cannot be read, or is no TOML; with its line.
    """
    try:
        content = path.read_bytes().removeprefix(UTF_8_MARK)
    except OSError as error:
        raise cannot_read(path, error) from None
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
    except RecursionError:
        raise InputError(
            "is nested too deep", file=path, hint=f"it should look like {example}"
        ) from None
    except ValueError as error:  # a whole number of more digits than Python converts
        raise InputError(f"is no TOML: {error}", file=path, hint="write fewer digits") from None
