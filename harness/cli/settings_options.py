"""The options with which every command takes the settings of a pack."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any, TypeVar

import click

from ctrl.errors import SettingsError, nearest
from ctrl.settings import SETTING_NAMES, Settings
from harness.cli.settings_file import read_settings, without_none
from harness.errors import InputError

_F = TypeVar("_F", bound=Callable[..., Any])


def settings_options(command: _F) -> _F:
    """Give a command `--settings`, `--cells` and `--set`, as the arguments of `given_settings`."""
    for option in (
        click.option(
            "--set",
            "changes",
            multiple=True,
            metavar="NAME=VALUE",
            help="Change one setting; none switches one off. Can be repeated.",
        ),
        click.option(
            "--cells",
            type=click.IntRange(min=1),
            metavar="N",
            help="Cells in series; the pack voltages that are not given are scaled to it.",
        ),
        click.option(
            "--settings",
            "settings_file",
            metavar="FILE",
            help="Settings as TOML or JSON; what it leaves out has its default.",
        ),
    ):
        command = option(command)
    return command


def given_settings(
    settings_file: str | None,
    cells: int | None,
    changes: tuple[str, ...],
    *,
    base: Settings | None = None,
) -> Settings:
    """The settings that the options name.

    Args:
        settings_file: path of a file of settings.
        cells: cells in series; wins over the file.
        changes: assignments `name=value`; they win over both.
        base: what stands where nothing is given; the defaults for `cells` otherwise.

    Raises:
        InputError: a file that cannot be read, or settings that the rules do not allow.
    """
    named = read_settings(settings_file) if settings_file else {}
    if cells is not None:
        named["cells"] = cells
    for change in changes:
        name, value = _assignment(change)
        named[name] = value
    try:
        if base is not None and "cells" not in named and not settings_file:
            return base.changed(**named)
        return Settings.for_cells(named.pop("cells", 16), **named)
    except SettingsError as error:
        raise InputError(str(error), file=settings_file or "", column="settings") from None


def is_given(settings_file: str | None, cells: int | None, changes: tuple[str, ...]) -> bool:
    """Whether any of the options was used."""
    return bool(settings_file or cells is not None or changes)


def _assignment(change: str) -> tuple[str, Any]:
    name, equals, text = (part.strip() for part in change.partition("="))
    if not equals or not name or not text:
        raise InputError(
            f"--set {change!r} changes nothing", hint="write it as NAME=VALUE, such as hold_s=360"
        )
    if name not in SETTING_NAMES:
        raise InputError(
            f"--set {change!r}: there is no setting {name!r}", hint=nearest(name, SETTING_NAMES)
        )
    try:
        value: Any = json.loads(f"[{text}]" if "," in text and not text.startswith("[") else text)
    except ValueError:
        value = text
    return name, without_none(name, value)
