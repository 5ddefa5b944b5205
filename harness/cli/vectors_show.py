"""`fullproof vectors show`: one vector, for reading."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from harness.cli import exits
from harness.cli.judge_options import role_option
from harness.report.words import changed_settings, count, number

if TYPE_CHECKING:
    from rich.console import Console

    from harness.cli.vectors_side import Table

LABEL = 14
FIRST_ROWS = 12


@click.command("show", short_help="Show one vector.")
@role_option
@click.argument("vector_id", metavar="ID")
@click.option(
    "--rows",
    type=click.IntRange(0),
    default=FIRST_ROWS,
    show_default=True,
    metavar="N",
    help="How many of its rows.",
)
def command(role: str, vector_id: str, rows: int) -> int:
    """Show what the vector ID does, why, what must come of it, and its first N rows."""
    from harness.cli.named import named
    from harness.cli.vectors_side import vectors_side_of
    from harness.report.console import console_for, line, paragraph

    side = vectors_side_of(role)
    found = named(vector_id, side.shipped())
    console = console_for(sys.stdout)
    line(console, (found.id, "bold"), ": ", (found.title, "bold"))
    told = (
        ("what happens", found.description),
        ("why", found.why),
        ("requirements", ", ".join(found.requirements)),
        ("must not", ", ".join(found.negative)),
        ("features", ", ".join(found.features)),
        ("catches", "; ".join(found.catches)),
        ("source", found.source),
        ("tags", ", ".join(found.tags)),
        ("settings", changed_settings(found.settings)),
        *side.start(found),
        *side.expected(found),
        ("power lost", ", ".join(f"before sample {index}" for index in found.power_cycles)),
        ("equalise", ", ".join(f"before sample {index}" for index in _requests(found))),
        ("cut", ", ".join(f"before sample {index}" for index in found.cuts)),
    )
    for label, text in told:
        if text:
            paragraph(console, text, indent=LABEL, first=label)
    for each in side.tables(found, rows) if rows else ():
        console.print()
        _show_table(console, each)
    return exits.CONFORMS


def _requests(found: Any) -> tuple[int, ...]:
    """Where an equalisation is asked for; nobody asks a charger for one."""
    asked: tuple[int, ...] = getattr(found, "equalise_requests", ())
    return asked


def _show_table(console: Console, table: Table) -> None:
    from rich.text import Text

    from harness.report.console import columns, line

    cells = [[Text(_cell(value)) for value in row] for row in table.rows]
    columns(console, table.heads, cells, [True] * len(table.heads))
    if (rest := table.whole - len(table.rows)) > 0:
        line(console, (f"and {count(rest, 'more row')}", "dim"))


def _cell(value: Any) -> str:
    if value is None or value == "":
        return "-"
    return value if isinstance(value, str) else number(value)
