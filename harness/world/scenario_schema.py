"""The JSON Schema of a scenario file, made from the classes that it is read into.

`python -m harness.world.scenario_schema` writes it anew. Editors that know it complete the names of
fields and show what they mean. Bounds that depend on other fields are checked by reading alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import attrs
import orjson

from ctrl.settings import OPTIONAL_SETTINGS, Settings
from ctrl.settings_text import NONE
from harness.errors import InputError
from harness.world.curves import CURVES, Curve
from harness.world.scenario_file import EVERY_PACK, purpose
from harness.world.tables import PackTable, ScenarioTable

PATH = Path(__file__).parent / "scenario.schema.json"
_PLAIN = {float: "number", int: "integer", str: "string", bool: "boolean"}
_TINY = 1e-9


def schema() -> dict[str, Any]:
    """The schema as JSON."""
    whole = _table(ScenarioTable)
    shared = _table(PackTable)
    del shared["properties"]["name"]
    whole["properties"]["pack"]["minItems"] = 1
    whole["properties"] = {EVERY_PACK: _without_required(shared)} | whole["properties"]
    whole["properties"][EVERY_PACK]["description"] = "What every pack has that says nothing else."
    # What a pack lacks may stand in `every_pack`; reading finds out whether it does.
    pack = whole["properties"]["pack"]["items"]
    whole["properties"]["pack"]["items"] = {**_without_required(pack), "required": ["name"]}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A scenario for the simulated bank",
        **whole,
    }


def text() -> str:
    """The schema as it is stored."""
    return orjson.dumps(schema(), option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE).decode()


def _without_required(table: Mapping[str, Any]) -> dict[str, Any]:
    """A table of which any part may be left out, at every depth."""
    return {
        name: {key: _loose(member) for key, member in value.items()}
        if name == "properties"
        else value
        for name, value in table.items()
        if name != "required"
    }


def _loose(member: Any) -> Any:
    return _without_required(member) if "properties" in member else member


def _table(kind: type) -> dict[str, Any]:
    types, meanings = get_type_hints(kind), purpose(kind)
    fields = [a for a in attrs.fields(kind) if a.init]
    needed = [a.name for a in fields if a.default is attrs.NOTHING]
    if kind is ScenarioTable or kind is PackTable:
        needed = [name for name in needed if name != "settings"]
    properties = {
        a.name: {"description": meanings[a.name], **_bounded(a, _member(types[a.name]))}
        for a in fields
    }
    table = {"type": "object", "additionalProperties": False, "properties": properties}
    return {**table, "required": needed} if needed else table


def _settings() -> dict[str, Any]:
    types, meanings = get_type_hints(Settings), purpose(Settings)
    properties: dict[str, Any] = {}
    for a in attrs.fields(Settings):
        if not a.init or a.name == "cells":
            continue
        member = _bounded(a, _member(types[a.name]))
        if a.name in OPTIONAL_SETTINGS:
            member = {"anyOf": [member, {"const": NONE}]}
        properties[a.name] = {"description": meanings.get(a.name, ""), **member}
    return {"type": "object", "additionalProperties": False, "properties": properties}


def _member(kind: Any) -> dict[str, Any]:
    if kind in _PLAIN:
        return {"type": _PLAIN[kind]}
    if kind is Curve:
        return {"enum": list(CURVES)}
    if kind is Settings:
        return _settings()
    origin, inner = get_origin(kind), get_args(kind)
    if origin is Literal:
        return {"enum": list(inner)}
    if origin in (Union, UnionType):
        return _member(next(part for part in inner if part is not NoneType))
    if origin is tuple:
        if inner[-1] is Ellipsis:
            return {"type": "array", "items": _member(inner[0])}
        items = [_member(part) for part in inner]
        return {"type": "array", "prefixItems": items, "minItems": len(items), "items": False}
    return _table(kind)


def _bounded(attribute: attrs.Attribute[Any], member: dict[str, Any]) -> dict[str, Any]:
    """The same with the lowest number that its validator lets through, where that is about zero."""
    if attribute.validator is None or member.get("type") not in ("number", "integer"):
        return member
    if _accepts(attribute, -1 if member["type"] == "integer" else -_TINY):
        return member
    if member["type"] == "integer":
        lowest = next((k for k in (0, 1) if _accepts(attribute, k)), None)
        return member if lowest is None else {**member, "minimum": lowest}
    if _accepts(attribute, 0.0):
        return {**member, "minimum": 0}
    return {**member, "exclusiveMinimum": 0} if _accepts(attribute, _TINY) else member


def _accepts(attribute: attrs.Attribute[Any], value: float) -> bool:
    assert attribute.validator is not None
    try:
        attribute.validator(None, attribute, value)
    except (InputError, ValueError):
        return False
    return True


if __name__ == "__main__":
    PATH.write_text(text(), encoding="utf-8")
