"""Where text for people goes: a terminal of any width, or a file without colours."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import IO

from rich.console import Console
from rich.text import Text

from ctrl.vocabulary import Stage
from harness.run import Outcome

# Colours are a help, never the only sign: every one of them stands on a word that says the same.
OUTCOME_STYLES = {
    Outcome.PASS: "green",
    Outcome.FAIL: "bold red",
    Outcome.NOT_EXERCISED: "yellow",
    Outcome.NOT_CLAIMED: "dim",
    Outcome.NOT_OBSERVABLE: "dim",
    Outcome.ERROR: "bold magenta",
    Outcome.UNKNOWN: "yellow",
}
STAGE_STYLES = {
    Stage.BULK.word: "cyan",
    Stage.ABSORPTION.word: "yellow",
    Stage.FLOAT.word: "green",
    Stage.INHIBITED.word: "red",
    Stage.EQUALISATION.word: "magenta",
}
# A line of text that is much longer is hard to read.
LEAST_WIDTH, MOST_WIDTH = 20, 100


def console_for(file: IO[str]) -> Console:
    """A console on a stream: colours and width follow the terminal, NO_COLOR and COLUMNS."""
    return Console(file=file, highlight=False, markup=False, emoji=False)


def line(console: Console, *parts: str | tuple[str, str] | Text) -> None:
    """Print one line of plain and styled parts, never broken: it can be copied, or searched for."""
    console.print(Text.assemble(*parts), soft_wrap=True)


def paragraph(
    console: Console, text: str, *, indent: int = 0, first: str = "", style: str = ""
) -> None:
    """Print text broken into lines between words.

    Args:
        console: where.
        text: its own line ends are kept.
        indent: how many blanks stand before each line.
        first: what stands in place of the blanks before the first line.
        style: of the text.
    """
    width = max(min(console.width, MOST_WIDTH) - indent, LEAST_WIDTH)
    lead = first.ljust(indent)
    for own_line in text.splitlines():
        for part in textwrap.wrap(own_line, width, break_on_hyphens=False) or [""]:
            line(console, lead, (part, style))
            lead = " " * indent


def columns(
    console: Console, heads: Sequence[str], rows: Iterable[Sequence[Text]], right: Sequence[bool]
) -> None:
    """Print rows in columns as wide as they need to be, two blanks apart.

    Args:
        console: where.
        heads: what stands above each column.
        rows: the cells.
        right: whether a column stands on the right.
    """
    table = [[Text(head, style="dim") for head in heads], *rows]
    widths = [max(cell.cell_len for cell in column) for column in zip(*table, strict=True)]
    for row in table:
        whole = Text()
        for cell, width, on_right in zip(row, widths, right, strict=True):
            blanks = " " * (width - cell.cell_len)
            whole.append_text(
                Text.assemble(blanks, cell) if on_right else Text.assemble(cell, blanks)
            )
            whole.append("  ")
        whole.rstrip()
        line(console, whole)


def stage_text(word: str) -> Text:
    """A stage in its colour."""
    return Text(word, style=STAGE_STYLES.get(word, ""))
