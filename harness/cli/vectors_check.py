"""`fullproof vectors check`: are the vectors distinct, covering, robust and up to date?"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from harness.cli import exits
from harness.cli.judge_options import role_option
from harness.errors import InputError
from harness.report.words import count

if TYPE_CHECKING:
    from rich.console import Console

    from harness.cli.vectors_side import VectorsSide


@click.command("check", short_help="Check that the vectors are as they have to be.")
@role_option
@click.argument("folder", required=False)
@click.option("--verbose", is_flag=True, help="Also count the vectors of each requirement.")
def command(role: str, folder: str | None, verbose: bool) -> int:
    """Check the shipped vectors, or those in FOLDER, against their recipes and their own rules."""
    from harness.cli.vectors_side import vectors_side_of
    from harness.report.console import console_for, line, paragraph

    if folder is not None and not Path(folder).is_dir():
        raise InputError("there is no such folder", file=folder, hint=f"seen from {Path.cwd()}")
    console = console_for(sys.stdout)
    side = vectors_side_of(role)
    problems = side.check(None if folder is None else Path(folder))
    for problem in problems:
        line(console, str(problem))
    place = folder or side.folder()
    if problems:
        wrong = count(len(problems), "problem")
        paragraph(console, f"{place}: {wrong}", style="bold red")
        return exits.DOES_NOT_CONFORM
    vectors = side.shipped()
    if verbose:
        _show_requirements(console, side, vectors)
        console.print()
    rows = sum(len(each.trace) for each in vectors)
    exercised = {name for each in vectors for name in each.requirements}
    told = ", ".join(
        (
            count(len(vectors), "vector"),
            count(rows, "row"),
            f"{count(len(exercised), 'requirement')} exercised",
        )
    )
    paragraph(console, f"{place}: {told}, nothing wrong", style="bold green")
    return exits.CONFORMS


def _show_requirements(console: Console, side: VectorsSide, vectors: Sequence[Any]) -> None:
    from rich.text import Text

    from harness.report.console import columns

    rows = []
    for name in side.known():
        of_it = [each for each in vectors if name in each.requirements]
        negative = sum(name in each.negative for each in of_it)
        rows.append([Text(name), Text(str(len(of_it))), Text(str(negative))])
    heads = ("requirement", "vectors", "of them: it must not happen")
    columns(console, heads, rows, (False, True, True))
