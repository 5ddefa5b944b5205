"""`fullproof settings chemistry`: the profiles of chemistries, each number with where it comes from."""

from __future__ import annotations

from collections.abc import Iterator

import click

from ctrl.chemistry import CHEMISTRIES, LIMITS_FIRST, PROFILES, Profile, profile, scaled
from ctrl.figures import PER_AH, PER_CELL, Figure, Value
from ctrl.settings import Settings
from harness.cli import exits

WIDTH = 96


@click.command("chemistry", short_help="Show the profiles of chemistries and their sources.")
@click.argument("name", required=False, type=click.Choice(CHEMISTRIES))
@click.option("--cells", type=click.IntRange(min=1), metavar="N", help="Cells in series.")
@click.option(
    "--capacity-ah",
    type=click.FloatRange(min=0, min_open=True),
    default=100.0,
    show_default=True,
    metavar="AH",
    help="Usable capacity, Ah.",
)
def command(name: str | None, cells: int | None, capacity_ah: float) -> int:
    """Show the profile of the chemistry NAME, or which profiles there are.

    Every number is told with its source, or with the mark that stands in its place. A profile is a
    start for settings of your own, never a data sheet.
    """
    lines = _all() if name is None else _one(profile(name), cells, capacity_ah)
    for line in lines:
        click.echo(line)
    return exits.CONFORMS


def _all() -> Iterator[str]:
    for each in PROFILES.values():
        yield f"{each.name}: {each.title}"
        yield f"   banks of {', '.join(map(str, each.usual_cells))} cells and others"
        yield f"   absorption ends by {each.end_of_absorption}"
        yield f"   equalisation: {'forbidden' if each.no_equalisation else 'by schedule or request'}"
    yield ""
    yield from _wrapped(LIMITS_FIRST)


def _one(chosen: Profile, cells: int | None, capacity_ah: float) -> Iterator[str]:
    cells = chosen.usual_cells[-1] if cells is None else cells
    # What the rules do not allow is found out here rather than by whoever copies it.
    Settings.for_chemistry(chosen.name, cells, capacity_ah)
    yield f"{chosen.name}: {chosen.title}, {cells} cells, {capacity_ah:g} Ah"
    for caution in chosen.cautions:
        yield from _wrapped(caution)
    if chosen.no_equalisation:
        mark = chosen.figures["equalisation_v"].told
        yield from _wrapped(f"It must never be equalised: {chosen.no_equalisation} ({mark}).")
    yield ""
    origins: list[str] = []
    rows = [("setting", "this bank", "a cell or Ah", "from")]
    rows += (_row(name, figure, cells, capacity_ah, origins) for name, figure in _told(chosen))
    wide = [max(len(row[k]) for row in rows) for k in range(3)]
    for setting, bank, part, origin in rows:
        yield f"{setting:<{wide[0]}}  {bank:>{wide[1]}}  {part:>{wide[2]}}  {origin}"
    yield ""
    for number, origin in enumerate(origins, start=1):
        yield from _wrapped(f"[{number}] {origin}")


def _told(chosen: Profile) -> Iterator[tuple[str, Figure]]:
    names = tuple(Settings().to_mapping())
    yield from sorted(chosen.figures.items(), key=lambda item: names.index(item[0]))
    yield "at rest, full", chosen.rest_cell_v


def _row(
    name: str, figure: Figure, cells: int, capacity_ah: float, origins: list[str]
) -> tuple[str, str, str, str]:
    if figure.told not in origins:
        origins.append(figure.told)
    is_setting = name in Settings().to_mapping()
    bank = scaled(name if is_setting else "absorption_v", figure.value, cells, capacity_ah)
    part = shown(figure.value) if name in PER_CELL + PER_AH or not is_setting else ""
    return name, shown(bank), part, f"[{origins.index(figure.told) + 1}]"


def shown(value: Value) -> str:
    """A value of a profile as a person reads it."""
    if value is None:
        return "none"
    if isinstance(value, tuple):
        return " to ".join(f"{part:.10g}" for part in value)
    return value if isinstance(value, str) else f"{value:.10g}"


def _wrapped(text: str) -> list[str]:
    return click.wrap_text(text, width=WIDTH).splitlines()
