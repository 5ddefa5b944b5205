"""`fullproof settings`: what the settings of a pack are, and whether a file of them is allowed."""

from __future__ import annotations

import re
from typing import Any

import click

from ctrl.advice import CAUTION, cautions, warnings
from ctrl.chemistry import profile
from ctrl.figures import Mark
from ctrl.settings import Settings
from ctrl.settings_text import NONE
from harness.cli import exits
from harness.cli.settings_chemistry import command as chemistry
from harness.cli.settings_options import chemistry_option, given_settings, settings_options

NOT_NEGATIVE = click.FloatRange(min=0)


@click.group(invoke_without_command=True)
@click.pass_context
def command(ctx: click.Context) -> None:
    """Show the settings of a pack, and check a file of them."""
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


command.add_command(chemistry)


@command.command()
@settings_options
def show(**settings: Any) -> int:
    """Print all settings as TOML, each with its meaning: the start of a file of your own.

    With --chemistry each number is told with its source, or with the mark that stands in its place.
    """
    found = given_settings(**settings)
    meanings, origins = _meanings(), _origins(found, settings["chemistry"])
    for caution in cautions(found):
        for line in _sentences(caution):
            click.echo(f"# {line}")
    for name, value in found.to_mapping().items():
        click.echo(f"\n# {meanings[name]}")
        if name in origins:
            click.echo(f"# {origins[name]}")
        click.echo(f"{name} = {_toml(value)}")
    return exits.CONFORMS


def _origins(found: Settings, name: str | None) -> dict[str, str]:
    """Where each setting comes from, where it is not given by the user."""
    if name is None:
        return {}
    chosen = profile(name)
    own = Settings.for_chemistry(name, found.cells, found.capacity_ah).to_mapping()
    told = {each: figure.told for each, figure in chosen.figures.items()}
    return {
        each: f"{name}: {told.get(each, Mark.PRACTICE.value)}"
        for each, value in found.to_mapping().items()
        if each not in ("cells", "capacity_ah") and value == own[each]
    }


@command.command()
@click.argument("file")
@chemistry_option
@click.option("--cells", type=click.IntRange(min=1), metavar="N", help="Cells in series.")
@click.option(
    "--meter-error-v",
    type=NOT_NEGATIVE,
    default=0.1,
    show_default=True,
    help="How far the charger's and the pack's meters may differ, V.",
)
@click.option(
    "--meter-noise-v",
    type=NOT_NEGATIVE,
    default=0.02,
    show_default=True,
    help="How far a reading may stray from the next, V.",
)
@click.option(
    "--wiring-ohm",
    type=NOT_NEGATIVE,
    default=0.005,
    show_default=True,
    help="Conductors between charger and pack, both ways, ohm.",
)
@click.option(
    "--interval-s",
    type=NOT_NEGATIVE,
    default=1.0,
    show_default=True,
    help="Distance of the samples, s.",
)
def check(file: str, chemistry: str | None, cells: int | None, **installation: float) -> int:
    """Tell whether the settings in FILE (TOML or JSON) are allowed by the rules, and wise."""
    found = given_settings(file, cells, (), chemistry)
    click.echo(f"{file}: the rules allow these settings, for {found.cells} cells")
    rest_cell_v = None if chemistry is None else profile(chemistry).rest_v
    advice = warnings(found, rest_cell_v=rest_cell_v, **installation)
    for number, one in enumerate(advice, start=1):
        click.echo(f"\n{number}. {', '.join(one.fields)}")
        for line in _sentences(f"{one.sentence} {one.hint.removesuffix(CAUTION).rstrip()}"):
            click.echo(f"   {line}")
    click.echo(f"\nwarnings: {len(advice)}")
    for caution in cautions(found):
        click.echo(caution)
    return exits.CONFORMS


def _meanings() -> dict[str, str]:
    """What each setting means, as its docstring has it."""
    text = (Settings.__doc__ or "").partition("Attributes:")[2]
    entries = re.findall(r"^ {8}(\w+): (.*(?:\n {12}.*)*)", text, re.MULTILINE)
    return {name: re.sub(r"\s+", " ", meaning).replace("`", "") for name, meaning in entries}


def _sentences(text: str) -> list[str]:
    return click.wrap_text(text, width=96).splitlines()


def _toml(value: Any) -> str:
    if value is None:
        return f'"{NONE}"'
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return repr(value)
