"""One trace replayed on a charger, told: its timeline beside the reference, and what it broke."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import compress

from attrs import frozen
from rich.console import Console
from rich.text import Text

from harness.charger.case import ChargerRun
from harness.report.charger_timeline import ChargerMoment
from harness.report.console import columns, line
from harness.report.replayed import (
    MOST_MOMENTS,
    document_of,
    show_heading,
    show_rest,
    show_verdict,
)
from harness.report.words import number
from harness.role import CHARGER
from harness.verdict import CaseVerdict

STATE_STYLES = {"stopped": "red", "fallback": "yellow", "following": "green"}


@frozen(eq=False)
class ChargerReplayed:
    """What came of one trace.

    Attributes:
        called: what the trace is called.
        run: the run.
        moments: its timeline.
        verdict: what the requirements say of it.
    """

    called: str
    run: ChargerRun
    moments: list[ChargerMoment]
    verdict: CaseVerdict


def show(console: Console, replayed: ChargerReplayed) -> None:
    """The timeline, then the findings, then one sentence."""
    show_heading(console, CHARGER, replayed.called, replayed.run)
    console.print()
    shown = replayed.moments[:MOST_MOMENTS]
    heads = ["t in s", "state", "reference", "set-point in V", "limit in A", "what happened"]
    right = [True, False, False, True, True, False]
    rows = [row for moment in shown for row in _rows(moment)]
    differs = any(moment.reference for moment in shown)
    kept = [True, True, differs, True, True, True]
    columns(
        console,
        list(compress(heads, kept)),
        [list(compress(row, kept)) for row in rows],
        list(compress(right, kept)),
    )
    show_rest(console, len(replayed.moments))
    if differs:
        line(console, ("reference: its state where it is another one", "dim"))
    console.print()
    show_verdict(console, replayed.verdict)


def to_json(replayed: ChargerReplayed) -> str:
    """The timeline and the findings as JSON."""
    return document_of(CHARGER, replayed.run, replayed.moments, replayed.verdict)


def _rows(moment: ChargerMoment) -> Iterator[list[Text]]:
    """The moment as rows: each thing that happened stands on one of its own."""
    state = _state(moment.after)
    if moment.before not in ("", moment.after):
        state = Text.assemble(moment.before, " -> ", state)
    first, *others = moment.happened or ("",)
    yield [
        Text(number(moment.t)),
        state,
        _state(moment.reference),
        Text(f"{moment.set_point_v:.3f}"),
        Text(f"{moment.limit_a:.2f}"),
        Text(first),
    ]
    yield from ([*(Text() for _ in range(5)), Text(words)] for words in others)


def _state(word: str) -> Text:
    return Text(word, style=STATE_STYLES.get(word, ""))
