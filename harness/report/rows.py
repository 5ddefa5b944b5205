"""Every sample of a run with what was answered to it, as CSV or in columns for reading."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import chain
from typing import IO, Any

from ctrl.vocabulary import Stage
from harness.run import ANSWER_COLUMNS, Run

_WORDS = tuple(stage.word for stage in Stage)
_LEAST_WIDTH = 10
_ROWS_AT_ONCE = 50_000


def write_csv(run: Run, file: IO[str]) -> None:
    """Write the samples and the answers; an absent reading is an empty cell, numbers are exact."""
    file.write(",".join(column_names(run)) + "\n")
    for row in _rows(run, _exact):
        file.write(",".join(row) + "\n")


def write_columns(run: Run, file: IO[str]) -> None:
    """Write the same for reading: in columns, numbers rounded, `-` for an absent reading."""
    names = column_names(run)
    widths = [max(len(name), _LEAST_WIDTH) for name in names]
    for row in chain([names], _rows(run, _rounded)):
        cells = (cell.rjust(width) for cell, width in zip(row, widths, strict=True))
        file.write(" ".join(cells).rstrip() + "\n")


def column_names(run: Run) -> list[str]:
    """The columns: those of the trace, then those that the controller answered."""
    answered = [name for name in ANSWER_COLUMNS if getattr(run.answers, name) is not None]
    return [*run.case.trace.columns, *answered]


def _rows(run: Run, as_text: Callable[[float], str]) -> Iterator[list[str]]:
    trace, answers = run.case.trace, run.answers
    for start in range(0, len(trace), _ROWS_AT_ONCE):
        part = slice(start, start + _ROWS_AT_ONCE)
        columns: list[list[Any]] = [
            [as_text(value) for value in trace.column(name)[part].tolist()]
            for name in trace.columns
        ]
        for name in column_names(run)[len(trace.columns) :]:
            values = getattr(answers, name)[part].tolist()
            if name == "stage":
                columns.append([_WORDS[value] for value in values])
            elif name == "full_reset":
                columns.append(["true" if value else "false" for value in values])
            else:
                columns.append([as_text(value) for value in values])
        yield from map(list, zip(*columns, strict=True))


def _exact(value: float) -> str:
    return repr(value).removesuffix(".0") if math.isfinite(value) else ""


def _rounded(value: float) -> str:
    return f"{value:.9g}" if math.isfinite(value) else "-"
