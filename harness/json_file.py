"""Reads JSON, with errors that name the line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import orjson

from harness.errors import InputError, cannot_read
from harness.text_file import UTF_8_MARK


def load_json(path: Path) -> Any:
    """What a JSON file holds.

    Args:
        path: the file; UTF-8, with or without a byte-order mark.

    Raises:
        InputError: the file cannot be read, or is no JSON; with its line.
    """
    try:
        return orjson.loads(path.read_bytes().removeprefix(UTF_8_MARK))
    except OSError as error:
        raise cannot_read(path, error) from None
    except orjson.JSONDecodeError as error:
        raise InputError(
            f"is no JSON: {error.msg}",
            file=path,
            line=error.lineno,
            column=f"character {error.colno}",
            hint="JSON as in RFC 8259; a missing reading is null, NaN and Infinity do not exist",
        ) from None
