"""Reads and writes scenario files; every error names the field, what was there, what would be right.

`[every_pack]` may hold whatever a `[[pack]]` may: a pack takes from it what it does not say itself,
table by table. What is off among the settings of a controller is written "none".
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import attrs
import cattrs
import tomli_w

from ctrl.errors import SettingsError, nearest
from ctrl.settings import Settings
from ctrl.settings_text import NONE, without_none
from harness.errors import InputError
from harness.toml_file import read_toml
from harness.toml_place import line_of
from harness.world.curves import CURVES, Curve
from harness.world.scenario import Scenario, scenario_of, table_of
from harness.world.tables import ScenarioTable

EVERY_PACK = "every_pack"
_SHOWN = 60
_NUMBERS = "a number without quotation marks; its unit is at the end of the name of the field"


def read(path: str | Path) -> Scenario:
    """Read a scenario; it is called what its file is called.

    Raises:
        InputError: the file cannot be read, or describes no bank that could be; with the field.
    """
    place = Path(path)
    content = read_toml(place, "hours = 8")
    try:
        table = structured(spread_over_packs(content), ScenarioTable)
        return scenario_of(table, place.stem)
    except InputError as error:
        column = origin(error.column, content)
        line = line_of(place.read_text(encoding="utf-8-sig"), column)
        raise InputError(
            error.message, file=place, line=line, column=column, hint=error.hint
        ) from None


def to_toml(scenario: Scenario) -> str:
    """The file of a scenario; what has its default is left out."""
    content = _plain(table_of(scenario))
    return tomli_w.dumps(content, multiline_strings=True)


def spread_over_packs(content: Mapping[str, Any]) -> dict[str, Any]:
    """The content of a file with `[every_pack]` and the number of cells put into each pack.

    Raises:
        InputError: one of these is no table where there must be one.
    """
    whole = dict(content)
    shared = whole.pop(EVERY_PACK, {})
    if not isinstance(shared, dict):
        raise InputError(_there_is(shared), column=EVERY_PACK, hint=f"a table: [{EVERY_PACK}]")
    packs = whole.get("pack")
    if not isinstance(packs, list):
        return whole
    bank = whole.get("bank")
    cells = bank.get("cells") if isinstance(bank, dict) else None
    merged = [_merged(shared, pack) if isinstance(pack, dict) else pack for pack in packs]
    for k, pack in enumerate(merged):
        if not isinstance(pack, dict):
            continue
        settings = pack.get("settings", {})
        if isinstance(settings, dict):
            if "cells" in settings:
                raise InputError(
                    f"there is {settings['cells']!r}",
                    column=f"pack[{k}].settings.cells",
                    hint="cells are told once, in [bank]",
                )
            if isinstance(cells, int) and not isinstance(cells, bool):
                settings = {**settings, "cells": cells}
        pack["settings"] = settings
    return {**whole, "pack": merged}


def origin(path: str, content: Mapping[str, Any]) -> str:
    """Where a field of a pack stands in the file: in the pack itself, or in `[every_pack]`."""
    head, _, rest = path.partition(".")
    if not (head.startswith("pack[") and rest) or EVERY_PACK not in content:
        return path
    number = int(head.removeprefix("pack[").removesuffix("]"))
    parts = rest.replace("[", ".[").split(".")
    own = _reaches(content["pack"][number], parts)
    return f"{EVERY_PACK}.{rest}" if own < _reaches(content[EVERY_PACK], parts) else path


def structured(value: Any, to: Any) -> Any:
    """A value out of a file as this type.

    Raises:
        InputError: it is none; `column` is the path of the field below it.
    """
    return _converter().structure(value, to)


def _reaches(table: Any, parts: list[str]) -> int:
    """How far a path leads into a table."""
    for depth, part in enumerate(parts):
        if not isinstance(table, dict) or part not in table:
            return depth
        table = table[part]
    return len(parts)


def _merged(shared: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    merged = {**shared, **own}
    for name, value in own.items():
        if isinstance(value, dict) and isinstance(shared.get(name), dict):
            merged[name] = _merged(shared[name], value)
    return merged


def _there_is(value: Any) -> str:
    shown = repr(value)
    return f"there is {shown if len(shown) <= _SHOWN else shown[:_SHOWN] + ' …'}"


@cache
def _converter() -> cattrs.Converter:
    converter = cattrs.Converter(detailed_validation=False)
    converter.register_structure_hook(float, _number)
    for kind, right in ((int, "a whole number"), (str, 'a text: "…"'), (bool, "true or false")):
        converter.register_structure_hook(kind, _exactly(kind, right))
    converter.register_structure_hook(Curve, _curve)
    converter.register_structure_hook_factory(attrs.has, lambda kind: _table(converter, kind))
    converter.register_structure_hook(Settings, lambda value, _: _settings(value))
    converter.register_structure_hook_func(_is_of(Literal), _word)
    converter.register_structure_hook_func(
        _is_of(tuple), lambda value, kind: _tuple(converter, value, kind)
    )
    converter.register_structure_hook_func(
        _is_of(Union, UnionType),
        lambda value, kind: converter.structure(value, get_args(kind)[0]),
    )
    return converter


def _is_of(*origins: Any) -> Callable[[Any], bool]:
    return lambda kind: get_origin(kind) in origins


def _number(value: Any, _: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(_there_is(value), hint=_NUMBERS)
    try:
        return float(value)
    except OverflowError:
        raise InputError(_there_is(value), hint="a smaller number") from None


def _exactly(kind: type, right: str) -> Callable[[Any, Any], Any]:
    def hook(value: Any, _: Any) -> Any:
        if type(value) is not kind:
            raise InputError(_there_is(value), hint=right)
        return value

    return hook


def _word(value: Any, kind: Any) -> Any:
    words = get_args(kind)
    if value not in words:
        raise InputError(_there_is(value), hint=f"one of {', '.join(map(repr, words))}")
    return value


def _curve(value: Any, _: Any) -> Curve:
    if not isinstance(value, str) or value not in CURVES:
        raise InputError(_there_is(value), hint=f"one of {', '.join(map(repr, CURVES))}")
    return CURVES[value]()


def _tuple(converter: cattrs.Converter, value: Any, kind: Any) -> tuple[Any, ...]:
    kinds = get_args(kind)
    if not isinstance(value, list):
        raise InputError(_there_is(value), hint="a list")
    if kinds[-1] is Ellipsis:
        kinds = (kinds[0],) * len(value)
    if len(kinds) != len(value):
        raise InputError(_there_is(value), hint=f"{len(kinds)} values")
    return tuple(
        _under(f"[{k}]", lambda v=part, t=to: converter.structure(v, t))  # type: ignore[misc]
        for k, (part, to) in enumerate(zip(value, kinds, strict=True))
    )


def _table(converter: cattrs.Converter, kind: type) -> Callable[[Any, Any], Any]:
    types = get_type_hints(kind)
    fields = {a.name: a for a in attrs.fields(kind) if a.init}
    needed = [name for name, a in fields.items() if a.default is attrs.NOTHING]

    def hook(value: Any, _: Any) -> Any:
        if not isinstance(value, dict):
            raise InputError(_there_is(value), hint=f"a table with {', '.join(fields)}")
        for name in value:
            if name not in fields:
                raise InputError(
                    "there is no such field", column=str(name), hint=nearest(str(name), fields)
                )
        for name in needed:
            if name not in value:
                meaning = purpose(kind).get(name, "").rstrip(".")
                raise InputError("it is missing", column=name, hint=meaning)
        # In the order of the class: what others build on is refused first.
        given = {
            name: _under(name, lambda v=value[name], t=types[name]: converter.structure(v, t))  # type: ignore[misc]
            for name in fields
            if name in value
        }
        return kind(**given)

    return hook


def _settings(value: Any) -> Settings:
    if not isinstance(value, dict):
        raise InputError(_there_is(value), hint="a table of settings")
    named = {name: without_none(name, each) for name, each in value.items()}
    try:
        return Settings.for_cells(**{"cells": 16, **named})
    except SettingsError as error:
        message = str(error).removesuffix(f"; {error.hint}")
        column = error.fields[0] if error.fields else ""
        raise InputError(message, column=column, hint=error.hint) from None


def _under(name: str, structure: Callable[[], Any]) -> Any:
    """Call this; an error gets `name` in front of its path."""
    try:
        return structure()
    except InputError as error:
        joint = "" if not error.column or error.column.startswith("[") else "."
        path = f"{name}{joint}{error.column}"
        raise InputError(error.message, column=path, hint=error.hint) from None


@cache
def purpose(kind: type) -> dict[str, str]:
    """What the docstring of a class says of its attributes, name by name."""
    lines = inspect.getdoc(kind) or ""
    said: dict[str, str] = {}
    name = ""
    for line in lines.partition("Attributes:\n")[2].splitlines():
        if not line.strip():
            break
        if line.startswith("        "):
            said[name] += " " + line.strip()
        else:
            name, _, text = line.strip().partition(": ")
            said[name] = text
    return said


def _plain(value: Any) -> Any:
    if isinstance(value, Curve):
        return value.name
    if isinstance(value, Settings):
        usual = Settings.for_cells(value.cells).to_mapping()
        changed = {k: v for k, v in value.to_mapping().items() if v != usual[k]}
        return {k: NONE if v is None else _plain(v) for k, v in changed.items()}
    if attrs.has(type(value)):
        return {
            a.name: _plain(getattr(value, a.name))
            for a in attrs.fields(type(value))
            if getattr(value, a.name) != _default(a)
        }
    if isinstance(value, tuple):
        return [_plain(part) for part in value]
    return value


def _default(attribute: attrs.Attribute[Any]) -> Any:
    default: Any = attribute.default
    return default.factory() if isinstance(default, attrs.Factory) else default  # type: ignore[arg-type]
