"""The JSON Schema of the line protocol, and what it says about one line."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import orjson

from harness.role import CHARGER, CONTROLLER

SCHEMA_FILE = Path(__file__).parent / "schemas" / "protocol-1.json"
_FILES = {CONTROLLER: SCHEMA_FILE, CHARGER: SCHEMA_FILE.with_name("charger-protocol-1.json")}


@cache
def schema(role: str = CONTROLLER) -> dict[str, Any]:
    """The whole schema document of a role, as it ships."""
    document: dict[str, Any] = orjson.loads(_FILES[role].read_bytes())
    return document


def message_complaints(line: bytes, role: str = CONTROLLER) -> list[str]:
    """What is wrong with a line that the harness sends; empty when nothing is."""
    message = orjson.loads(line)
    return _complaints(str(message.get("do")), message, role)


def answer_complaints(line: bytes, message: bytes, role: str = CONTROLLER) -> list[str]:
    """What is wrong with the answer `line` to `message`; empty when nothing is."""
    return _complaints(f"{orjson.loads(message)['do']}_answer", orjson.loads(line), role)


def _complaints(name: str, instance: Any, role: str) -> list[str]:
    if name not in schema(role)["$defs"]:
        return [f"there is no message {name!r}"]
    return [
        f"{error.json_path}: {error.message:.200}"
        for error in _validator(name, role).iter_errors(instance)
    ]


@cache
def _validator(name: str, role: str) -> Any:
    # A sixth of a second to load, and the hot path does without it.
    from jsonschema import Draft202012Validator

    return Draft202012Validator({"$ref": f"#/$defs/{name}", "$defs": schema(role)["$defs"]})
