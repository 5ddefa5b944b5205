"""Changes of a case: rows taken out, stamps moved, readings replaced. Each gives a new case.

A case is one of any role: settings, and a trace whose attributes are arrays with one entry a row.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import evolve, fields

from harness.run import OPTIONAL_COLUMNS, Floats, Trace

Mask = npt.NDArray[np.bool_]
# Stamps that are summed up again are rounded to this, below what any rule can tell.
STAMP_DIGITS = 9
# What a case does before the rows of some indices; a case of another role need not have them all.
PLACES = ("power_cycles", "equalise_requests", "cuts")


def columns_of(trace: Any) -> dict[str, Any]:
    """The arrays of a trace by the names of its attributes; those that it has."""
    named = {field.name: getattr(trace, field.name) for field in fields(type(trace))}
    return {name: values for name, values in named.items() if values is not None}


def plain(case: Any) -> Any:
    """The case as a controller sees it: no expectation, and one kind of missing reading."""
    columns = {
        name: np.where(np.isfinite(values), values, np.nan) if values.dtype.kind == "f" else values
        for name, values in columns_of(case.trace).items()
    }
    nothing_expected = {"expected": None} if hasattr(case, "expected") else {}
    return evolve(
        case,
        trace=type(case.trace)(**columns),
        power_cycles=tuple(sorted({k for k in case.power_cycles if k > 0})),
        cuts=tuple(sorted({k for k in case.cuts if k > 0})),
        **nothing_expected,
    )


def kept(case: Any, keep: Mask, *, closed_up: bool = False) -> Any:
    """The case with some of its rows only.

    A loss of power, a request or a cut that stood before a row taken out stands before the next one left.

    Args:
        case: the case.
        keep: which rows stay, one at least.
        closed_up: the time of the rows taken out is taken out too; otherwise stamps stay.
    """
    columns = {name: values[keep] for name, values in columns_of(case.trace).items()}
    if closed_up:
        gone_s = np.cumsum(np.where(keep, 0.0, intervals(case.trace.t)))
        columns["t"] = np.round(columns["t"] - gone_s[keep], STAMP_DIGITS)
    # How many rows stay before each one: the index that the first one behind it will have.
    place = np.concatenate([[0], np.cumsum(keep)])
    count = int(place[-1])

    def moved(indices: Iterable[int]) -> tuple[int, ...]:
        return tuple(sorted({int(place[k]) for k in indices} - {count}))

    # Before the first row nothing is lost and nothing cut, but something may have been asked for.
    places = {
        name: tuple(k for k in moved(getattr(case, name)) if k or name == "equalise_requests")
        for name in PLACES
        if hasattr(case, name)
    }
    return evolve(case, trace=type(case.trace)(**columns), **places)


def intervals(t: Floats) -> Floats:
    """The time from the last stamp before it to each row, s; 0 for the first, and without a stamp."""
    known = np.flatnonzero(np.isfinite(t))
    result = np.zeros(len(t))
    result[known[1:]] = np.diff(t[known])
    return result


def prefix(case: Any, rows: int) -> Any:
    """The first rows of a case."""
    return kept(case, np.arange(len(case.trace)) < rows)


def with_column(case: Any, name: str, values: Floats | None) -> Any:
    """The case with other readings in one column; None leaves an optional one out."""
    if not isinstance(case.trace, Trace):
        return evolve(case, trace=case.trace.with_column(name, values))
    columns = {other: case.trace.column(other) for other in case.trace.columns if other != name}
    if values is not None:
        columns[name] = values
    elif name not in OPTIONAL_COLUMNS:
        raise ValueError(f"a trace needs the column {name}")
    return evolve(case, trace=Trace(**columns))


def with_settings(case: Any, settings: Any) -> Any:
    """The case with other settings."""
    return evolve(case, settings=settings)


def key(case: Any) -> tuple[object, ...]:
    """What two cases have in common that a controller cannot tell apart."""
    return (
        tuple((name, values.tobytes()) for name, values in columns_of(case.trace).items()),
        case.settings,
        getattr(case, "soc", None),
        tuple(getattr(case, name, ()) for name in PLACES),
    )
