"""The options with which every command takes the settings of a pack."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from ctrl.chemistry import CHEMISTRIES, profile
from ctrl.errors import SettingsError, nearest
from ctrl.settings import SETTING_NAMES, Settings
from harness.cli.settings_file import read_settings, without_none
from harness.errors import InputError

if TYPE_CHECKING:
    from ctrl.charger import ChargerSettings

_F = TypeVar("_F", bound=Callable[..., Any])


DEFAULT_CAPACITY_AH = Settings().capacity_ah

chemistry_option = click.option(
    "--chemistry",
    type=click.Choice(CHEMISTRIES),
    help="Start from the profile of a chemistry; fullproof settings chemistry shows its numbers.",
)


def settings_options(command: _F) -> _F:
    """Give a command the options of settings, as the arguments of `given_settings`."""
    for option in (
        chemistry_option,
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
    chemistry: str | None = None,
    *,
    base: Settings | None = None,
) -> Settings:
    """The settings of a controller that the options name.

    Args:
        settings_file: path of a file of settings.
        cells: cells in series; wins over the file.
        changes: assignments `name=value`; they win over both.
        chemistry: the profile that stands where nothing else is given; without `cells` for a bank of
            nominally 48 V.
        base: what stands where nothing is given; the defaults for `cells` otherwise.

    Raises:
        InputError: a file that cannot be read, or settings that the rules do not allow.
    """
    found: Settings = _given(
        Settings, SETTING_NAMES, settings_file, cells, changes, base, chemistry=chemistry
    )
    return found


def given_charger_settings(
    settings_file: str | None,
    cells: int | None,
    changes: tuple[str, ...],
    chemistry: str | None = None,
    *,
    packs: int,
    base: ChargerSettings | None = None,
) -> ChargerSettings:
    """The settings of a charger that the options name.

    Args:
        settings_file: as in `given_settings`.
        cells: as in `given_settings`.
        changes: as in `given_settings`.
        chemistry: refused; the profiles are those of packs.
        packs: how many packs there are where nothing says so.
        base: as in `given_settings`.

    Raises:
        InputError: a file that cannot be read, or settings that the rules do not allow.
    """
    if chemistry is not None:
        raise InputError(
            "--chemistry belongs to a controller",
            hint="--cells N scales the voltages of a charger, --set NAME=VALUE sets each",
        )
    from ctrl.charger import ChargerSettings
    from ctrl.charger.settings import CHARGER_SETTING_NAMES

    found: ChargerSettings = _given(
        ChargerSettings, CHARGER_SETTING_NAMES, settings_file, cells, changes, base, packs=packs
    )
    return found


def _given(
    kind: Any,
    names: Sequence[str],
    settings_file: str | None,
    cells: int | None,
    changes: tuple[str, ...],
    base: Any,
    *,
    chemistry: str | None = None,
    **usual: Any,
) -> Any:
    named = read_settings(settings_file) if settings_file else {}
    if cells is not None:
        named["cells"] = cells
    for change in changes:
        name, value = _assignment(change, names)
        named[name] = value
    try:
        if chemistry is not None:
            return Settings.for_chemistry(
                chemistry,
                named.pop("cells", profile(chemistry).usual_cells[-1]),
                named.pop("capacity_ah", DEFAULT_CAPACITY_AH),
                **named,
            )
        if base is not None and "cells" not in named and not settings_file:
            return base.changed(**named)
        return kind.for_cells(named.pop("cells", 16), **{**usual, **named})
    except SettingsError as error:
        raise InputError(str(error), file=settings_file or "", column="settings") from None


def is_given(
    settings_file: str | None,
    cells: int | None,
    changes: tuple[str, ...],
    chemistry: str | None = None,
) -> bool:
    """Whether any of the options was used."""
    return bool(settings_file or cells is not None or changes or chemistry)


def _assignment(change: str, names: Sequence[str]) -> tuple[str, Any]:
    name, equals, text = (part.strip() for part in change.partition("="))
    if not equals or not name or not text:
        raise InputError(
            f"--set {change!r} changes nothing", hint="write it as NAME=VALUE, such as hold_s=360"
        )
    if name not in names:
        raise InputError(
            f"--set {change!r}: there is no setting {name!r}", hint=nearest(name, names)
        )
    try:
        value: Any = json.loads(f"[{text}]" if "," in text and not text.startswith("[") else text)
    except ValueError:
        value = text
    return name, without_none(name, value)
