"""The table of a study for a terminal: arms down, measures across, then what differs in sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.text import Text

from harness.report.caution import CAUTION
from harness.report.console import columns, line, paragraph
from harness.report.study_words import (
    estimate_text,
    how_told_apart,
    left_out,
    sentences,
    size_text,
    unit_text,
)
from harness.report.words import count
from harness.study.measures import MEASURES, Measure, measure_named
from harness.study.table import GOALS, Table

HEADLINES = tuple(measure for measure in MEASURES if measure.headline)
TOLD = tuple(measure_named(name) for name in GOALS)
# More sentences than this are for the page.
MOST_SENTENCES = 24


def show_study(console: Console, table: Table) -> None:
    """Heading, table, sentences, what was left out, and the caution.

    Args:
        console: where.
        table: of a study.
    """
    facts = table.facts
    line(console, (facts.title, "bold"))
    if facts.question:
        paragraph(console, facts.question)
    paragraph(console, size_text(table))
    console.print()
    for some in _blocks(table, max(console.width, 60)):
        _show_block(console, table, some)
        console.print()
    if table.front:
        paragraph(console, _front(table))
    paragraph(console, how_told_apart(table), style="dim")
    console.print()
    _show_sentences(console, table)
    for told in left_out(table):
        paragraph(console, f"{told}.", style="bold magenta")
    paragraph(console, CAUTION, style="dim")


def _front(table: Table) -> str:
    names = [table.facts.labels[k] for k in table.front]
    if len(names) == 1:
        return f"* no other arm has fewer false fulls or fewer missed full days than {names[0]}"
    return "* no other arm has fewer false fulls without more missed full days: " + "; ".join(names)


def _cells(table: Table, measure: Measure) -> list[str]:
    head = [measure.title, unit_text(measure)]
    return [*head, *(estimate_text(each) for each in table.of(measure.name))]


def _names(table: Table) -> list[str]:
    front = set(table.front)
    return [f"{name} *" if k in front else name for k, name in enumerate(table.facts.labels)]


def _blocks(table: Table, width: int) -> Iterator[Sequence[Measure]]:
    """The measures in as many blocks as it takes for each to be no wider than the terminal."""
    used = start = max(map(len, _names(table)))
    some: list[Measure] = []
    for measure in HEADLINES:
        wide = 2 + max(map(len, _cells(table, measure)))
        if some and used + wide > width:
            yield some
            some, used = [], start
        some.append(measure)
        used += wide
    yield some


def _show_block(console: Console, table: Table, measures: Sequence[Measure]) -> None:
    cells = [_cells(table, measure) for measure in measures]
    heads = ["", *(each[0] for each in cells)]
    rows = [[Text("arm", style="dim"), *(Text(each[1], style="dim") for each in cells)]]
    rows += [
        [Text(name), *(Text(each[2 + k]) for each in cells)] for k, name in enumerate(_names(table))
    ]
    columns(console, heads, rows, [False, *[True] * len(cells)])


def _show_sentences(console: Console, table: Table) -> None:
    found = sentences(table, TOLD)
    if not found:
        paragraph(
            console,
            "No two arms differ in one thing alone, or in a setting with few values: none are compared.",
        )
        console.print()
        return
    for each in found[:MOST_SENTENCES]:
        paragraph(console, f"{each.about}: {each.text}", indent=2, first="-")
    if (rest := len(found) - MOST_SENTENCES) > 0:
        line(console, (f"and {count(rest, 'more sentence')} on the page", "dim"))
    line(console, ("The page and the JSON tell the same of every other measure.", "dim"))
    console.print()
