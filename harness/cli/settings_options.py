"""The options with which every command takes the settings of a pack."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from ctrl.chemistry import CHEMISTRIES, profile
from ctrl.errors import SettingsError, nearest
from ctrl.settings import SETTING_NAMES, Settings
from ctrl.settings_text import without_none
from harness.cli.settings_file import line_of, read_settings
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
    changed = dict(assignment(change, names) for change in changes)
    named |= changed
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
        of_file = [each for each in error.fields if each not in changed]
        line = line_of(settings_file, of_file) if settings_file else None
        raise InputError(
            str(error), file=settings_file or "", line=line, column="settings"
        ) from None


def is_given(
    settings_file: str | None,
    cells: int | None,
    changes: tuple[str, ...],
    chemistry: str | None = None,
) -> bool:
    """Whether any of the options was used."""
    return bool(settings_file or cells is not None or changes or chemistry)


def assignment(
    change: str,
    names: Sequence[str],
    *,
    option: str = "--set",
    example: str = "hold_s=360",
) -> tuple[str, Any]:
    """The name and the value in `NAME=VALUE`; the value is not checked.

    Args:
        change: the assignment as it was written.
        names: the settings that there are.
        option: which option it was written behind.
        example: an assignment as it could be, for the hint.

    Raises:
        InputError: it is no assignment, or there is no such setting.
    """
    name, equals, text = (part.strip() for part in change.partition("="))
    if not equals or not name or not text:
        raise InputError(
            f"{option} {change!r} changes nothing",
            hint=f"write it as NAME=VALUE, such as {example}",
        )
    if name not in names:
        raise InputError(
            f"{option} {change!r}: there is no setting {name!r}", hint=nearest(name, names)
        )
    try:
        value: Any = json.loads(f"[{text}]" if "," in text and not text.startswith("[") else text)
    except ValueError:
        value = text
    return name, without_none(name, value)
