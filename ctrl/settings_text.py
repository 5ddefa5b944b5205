"""Settings as text, in JSON and in TOML; what is written is read back to the last bit.

TOML has no null: a setting that is off is written there as the string "none".
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from typing import Any

import tomli_w

from ctrl.errors import SettingsError
from ctrl.settings import OPTIONAL_SETTINGS, Settings

NONE = "none"


def without_none(name: str, value: Any) -> Any:
    """The value of a setting, None where it is the word for off and the setting may be off."""
    return None if value == NONE and name in OPTIONAL_SETTINGS else value


def to_json(settings: Settings) -> str:
    """The settings as a JSON object, one setting a line."""
    return json.dumps(_members(settings), indent=2, allow_nan=False) + "\n"


def from_json(text: str) -> Settings:
    """The settings that a JSON object gives; what it does not name has its default.

    Raises:
        SettingsError: the text is no JSON object, names a setting twice or one that does not
            exist, or gives a value that a setting cannot have.
    """
    return _structured(_parsed("JSON", lambda: json.loads(text, object_pairs_hook=_once)), "JSON")


def to_toml(settings: Settings) -> str:
    """The settings as a TOML table, one setting a line."""
    values = _members(settings)
    return tomli_w.dumps({name: NONE if value is None else value for name, value in values.items()})


def from_toml(text: str) -> Settings:
    """The settings that a TOML table gives; what it does not name has its default.

    Raises:
        SettingsError: the text is no TOML, names a setting twice or one that does not exist, or
            gives a value that a setting cannot have.
    """
    values = _parsed("TOML", lambda: tomllib.loads(text))
    return _structured({name: without_none(name, value) for name, value in values.items()}, "TOML")


def _members(settings: Settings) -> dict[str, Any]:
    return {
        name: list(value) if isinstance(value, tuple) else value
        for name, value in settings.to_mapping().items()
    }


def _parsed(language: str, parse: Callable[[], Any]) -> Any:
    try:
        return parse()
    except SettingsError:
        raise
    except (ValueError, RecursionError) as error:
        raise SettingsError(f"the settings cannot be read as {language}: {error}") from error


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    values = dict(pairs)
    if len(values) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise SettingsError(
            f"{twice} is there twice", fields=(twice,), hint="leave one of them out"
        )
    return values


def _structured(values: Any, language: str) -> Settings:
    if not isinstance(values, dict):
        raise SettingsError(
            f"the settings are a {language} value of type {type(values).__name__}",
            hint='they must be an object such as {"hold_s": 3600}',
        )
    return Settings.from_mapping(values)
