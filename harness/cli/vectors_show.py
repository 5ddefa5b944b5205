"""`fullproof vectors show`: one vector, for reading."""

from __future__ import annotations

import sys

import click
from rich.console import Console
from rich.text import Text

from harness.cases import Vector
from harness.cli import exits
from harness.cli.named import vector_named
from harness.report.console import columns, console_for, line, paragraph
from harness.report.words import changed_settings, count, number

LABEL = 14
FIRST_ROWS = 12


@click.command("show", short_help="Show one vector.")
@click.argument("vector_id", metavar="ID")
@click.option(
    "--rows",
    type=click.IntRange(0),
    default=FIRST_ROWS,
    show_default=True,
    metavar="N",
    help="How many of its rows.",
)
def command(vector_id: str, rows: int) -> int:
    """Show what the vector ID does, why, what must come of it, and its first N rows."""
    found = vector_named(vector_id)
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
        ("start", f"at a state of charge of {number(found.soc)}"),
        ("stages", ", ".join(f"{word} at {number(t)} s" for t, word in found.expected.stages)),
        ("full resets", ", ".join(f"at {number(t)} s" for t in found.expected.resets)),
        (
            "counts",
            ", ".join(
                f"{number(soc)} at {number(t)} s (within {number(within)})"
                for t, soc, within in found.expected.soc
            ),
        ),
        ("power lost", ", ".join(f"before sample {index}" for index in found.power_cycles)),
        ("cut", ", ".join(f"before sample {index}" for index in found.cuts)),
    )
    for label, text in told:
        if text:
            paragraph(console, text, indent=LABEL, first=label)
    if rows:
        console.print()
        _show_rows(console, found, rows)
    return exits.CONFORMS


def _show_rows(console: Console, found: Vector, most: int) -> None:
    names = found.trace.columns
    part = found.trace.part(0, most).rows()
    cells = [[Text("-" if value is None else number(value)) for value in row] for row in part]
    columns(console, names, cells, [True] * len(names))
    if (rest := len(found.trace) - most) > 0:
        line(console, (f"and {count(rest, 'more row')}", "dim"))
