"""The JSON Schema of the line protocol, and what it says about one line."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import orjson

SCHEMA_FILE = Path(__file__).parent / "schemas" / "protocol-1.json"


@cache
def schema() -> dict[str, Any]:
    """The whole schema document, as it ships."""
    document: dict[str, Any] = orjson.loads(SCHEMA_FILE.read_bytes())
    return document


def message_complaints(line: bytes) -> list[str]:
    """What is wrong with a line that the harness sends; empty when nothing is."""
    message = orjson.loads(line)
    return _complaints(str(message.get("do")), message)


def answer_complaints(line: bytes, message: bytes) -> list[str]:
    """What is wrong with the answer `line` to `message`; empty when nothing is."""
    return _complaints(f"{orjson.loads(message)['do']}_answer", orjson.loads(line))


def _complaints(name: str, instance: Any) -> list[str]:
    if name not in schema()["$defs"]:
        return [f"there is no message {name!r}"]
    return [
        f"{error.json_path}: {error.message:.200}"
        for error in _validator(name).iter_errors(instance)
    ]


@cache
def _validator(name: str) -> Any:
    # A sixth of a second to load, and the hot path does without it.
    from jsonschema import Draft202012Validator

    return Draft202012Validator({"$ref": f"#/$defs/{name}", "$defs": schema()["$defs"]})
