"""Every sample of a run with what was answered to it, as CSV or in columns for reading."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import chain
from typing import IO, Any

import attrs

from ctrl.vocabulary import Stage
from harness.report.roles import told_of
from harness.role import CHARGER

_STAGES = {int(stage): stage.word for stage in Stage}
_LEAST_WIDTH = 10
_ROWS_AT_ONCE = 50_000


def write_csv(run: Any, file: IO[str]) -> None:
    """Write the samples and the answers; an absent reading is an empty cell, numbers are exact."""
    file.write(",".join(column_names(run)) + "\n")
    for row in _rows(run, _exact):
        file.write(",".join(row) + "\n")


def write_columns(run: Any, file: IO[str]) -> None:
    """Write the same for reading: in columns, numbers rounded, `-` for an absent reading."""
    names = column_names(run)
    widths = [max(len(name), _LEAST_WIDTH) for name in names]
    for row in chain([names], _rows(run, _rounded)):
        cells = (cell.rjust(width) for cell, width in zip(row, widths, strict=True))
        file.write(" ".join(cells).rstrip() + "\n")


def column_names(run: Any) -> list[str]:
    """The columns: those of the trace, then those that were answered."""
    answers = run.answers
    answered = [a.name for a in attrs.fields(type(answers)) if getattr(answers, a.name) is not None]
    return [*run.case.trace.columns, *answered]


def _rows(run: Any, as_text: Callable[[float], str]) -> Iterator[list[str]]:
    trace, answers = run.case.trace, run.answers
    for start in range(0, len(trace), _ROWS_AT_ONCE):
        part = slice(start, start + _ROWS_AT_ONCE)
        columns: list[list[str]] = [
            _cells(name, trace.column(name)[part].tolist(), as_text) for name in trace.columns
        ]
        for name in column_names(run)[len(trace.columns) :]:
            columns.append(_cells(name, getattr(answers, name)[part].tolist(), as_text))
        yield from map(list, zip(*columns, strict=True))


def _cells(name: str, values: list[Any], as_text: Callable[[float], str]) -> list[str]:
    if name == "state":
        words = told_of(CHARGER).words
        return [words[value] for value in values]
    if name == "stage" or name.startswith("stage_"):
        return [_STAGES.get(value, as_text(math.nan)) for value in values]
    if name == "full_reset":
        return ["true" if value else "false" for value in values]
    return [as_text(value) for value in values]


def _exact(value: float) -> str:
    return repr(value).removesuffix(".0") if math.isfinite(value) else ""


def _rounded(value: float) -> str:
    return f"{value:.9g}" if math.isfinite(value) else "-"
