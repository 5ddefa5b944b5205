"""A failing trace as a small table: what went in, what the controller said, and what the rules say."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.hunt.compare import reference_run
from harness.report.reference_events import reference_events
from harness.report.words import number
from harness.rules import requirement
from harness.run import Answers, Case, Finding, Floats, Run

MOST_ROWS = 40
# Of a longer trace these many rows are shown around whatever happens.
AROUND = 2
HERE = "<- here"
LEFT_OUT = "..."
_HEADS = {
    "t": "t in s",
    "v": "v in V",
    "i": "i in A",
    "cell_max_v": "highest cell in V",
    "temp_c": "coldest in C",
    "temp_max_c": "hottest in C",
}
# What of the answers a requirement is about, beside the stage.
_BY_FEATURE = {
    "soc": (("soc", "count in %", 100.0),),
    "return_soc": (("soc", "count in %", 100.0),),
    "empty_reset": (("soc", "count in %", 100.0),),
    "requests": (
        ("voltage_request_v", "asks for V", 1.0),
        ("current_request_a", "asks for A", 1.0),
    ),
}


@frozen
class Table:
    """Text in columns.

    Attributes:
        heads: what stands above each column.
        right: whether a column stands on the right.
        rows: the cells.
        here: the row of the finding; -1 for none.
    """

    heads: tuple[str, ...]
    right: tuple[bool, ...]
    rows: tuple[tuple[str, ...], ...]
    here: int


def table_of(case: Case, run: Run | None, finding: Finding) -> Table:
    """The table of a failing case.

    Args:
        case: the case.
        run: what the controller answered; None where it failed to.
        finding: what is wrong; its index counts in this case.
    """
    said = reference_run(case).answers
    answers = None if run is None else run.answers
    trace = case.trace
    columns: list[tuple[str, bool, list[str]]] = [
        (_HEADS[name], True, [number(x) for x in trace.column(name).tolist()])
        for name in trace.columns
    ]
    columns.append(("controller", False, _stages(answers, len(trace))))
    columns.append(("reference", False, _stages(said, len(trace))))
    for name, head, factor in _asked(finding.requirement):
        for who, given in (("", answers), ("reference ", said)):
            values: Floats | None = None if given is None else getattr(given, name)
            columns.append((who + head, True, _numbers(values, factor, len(trace))))
    columns.append(("", False, _happened(case, finding.index)))
    shown = _shown(case, answers, said, finding.index)
    rows: list[tuple[str, ...]] = []
    here, before = -1, -1
    for k in shown:
        if k != before + 1:
            rows.append((LEFT_OUT, *[""] * (len(columns) - 2), f"{k - before - 1} rows like these"))
        if k == finding.index:
            here = len(rows)
        rows.append(tuple(cells[k] for _, _, cells in columns))
        before = k
    return Table(
        heads=tuple(head for head, _, _ in columns),
        right=tuple(on_right for _, on_right, _ in columns),
        rows=tuple(rows),
        here=here,
    )


def table_text(case: Case, run: Run | None, finding: Finding) -> list[str]:
    """The same as lines of plain text."""
    return text_of(table_of(case, run, finding))


def text_of(table: Table) -> list[str]:
    """A table as lines of plain text."""
    whole = (table.heads, *table.rows)
    widths = [max(map(len, column)) for column in zip(*whole, strict=True)]
    return ["  ".join(_padded(row, widths, table.right)).rstrip() for row in whole]


def _padded(row: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> list[str]:
    return [
        cell.rjust(width) if on_right else cell.ljust(width)
        for cell, width, on_right in zip(row, widths, right, strict=True)
    ]


def _asked(requirement_id: str) -> list[tuple[str, str, float]]:
    found: dict[str, tuple[str, str, float]] = {}
    for feature in sorted(requirement(requirement_id).features):
        for entry in _BY_FEATURE.get(feature, ()):
            found[entry[0]] = entry
    return list(found.values())


def _stages(answers: Answers | None, count: int) -> list[str]:
    if answers is None:
        return ["-"] * count
    words = [Stage(stage).word for stage in answers.stage.tolist()]
    if answers.full_reset is None:
        return words
    resets = answers.full_reset.tolist()
    return [f"{w}, full reset" if reset else w for w, reset in zip(words, resets, strict=True)]


def _numbers(values: Floats | None, factor: float, count: int) -> list[str]:
    if values is None:
        return ["-"] * count
    return [f"{factor * value:.7g}" for value in values.tolist()]


def _happened(case: Case, here: int) -> list[str]:
    """What happened by the rules at each sample, and before it, and where the finding is."""
    told: list[list[str]] = [[] for _ in range(len(case.trace))]
    for k in case.power_cycles:
        told[k].append("power was lost before")
    for k in case.equalise_requests:
        told[k].append("an equalisation was asked for before")
    for k in case.cuts:
        told[k].append("a new message")
    for k, events in (reference_events("ref", case) or {}).items():
        for event in events:
            words = event.name.replace("_", " ")
            told[k].append(f"{words}: {event.cause.replace('_', ' ')}" if event.cause else words)
    cells = [", ".join(words) for words in told]
    if 0 <= here < len(cells):
        cells[here] = f"{cells[here]}  {HERE}".strip()
    return cells


def _shown(case: Case, answers: Answers | None, said: Answers, here: int) -> list[int]:
    """The rows that are shown: all of a short trace; of a long one those where anything happens."""
    count = len(case.trace)
    if count <= MOST_ROWS:
        return list(range(count))
    marks = {0, count - 1, *case.power_cycles, *case.equalise_requests, max(here, 0)}
    for given in (answers, said):
        if given is not None:
            marks |= set((np.flatnonzero(np.diff(given.stage)) + 1).tolist())
    near = {k + step for k in marks for step in range(-AROUND, AROUND + 1)}
    return sorted(k for k in near if 0 <= k < count)
