"""Changes of a case: rows taken out, stamps moved, readings replaced. Each gives a new case."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
from attrs import evolve

from ctrl.settings import Settings
from harness.run import OPTIONAL_COLUMNS, Case, Floats, Trace

Mask = npt.NDArray[np.bool_]
# Stamps that are summed up again are rounded to this, below what any rule can tell.
STAMP_DIGITS = 9


def plain(case: Case) -> Case:
    """The case as a controller sees it: no expectation, and one kind of missing reading."""
    columns = {
        name: np.where(np.isfinite(values), values, np.nan)
        for name in case.trace.columns
        for values in (case.trace.column(name),)
    }
    return evolve(
        case,
        trace=Trace(**columns),
        power_cycles=tuple(sorted({k for k in case.power_cycles if k > 0})),
        cuts=tuple(sorted({k for k in case.cuts if k > 0})),
        expected=None,
    )


def kept(case: Case, keep: Mask, *, closed_up: bool = False) -> Case:
    """The case with some of its rows only.

    A loss of power, or a cut, that stood before a row taken out stands before the next one left.

    Args:
        case: the case.
        keep: which rows stay, one at least.
        closed_up: the time of the rows taken out is taken out too; otherwise stamps stay.
    """
    columns = {name: case.trace.column(name)[keep] for name in case.trace.columns}
    if closed_up:
        gone_s = np.cumsum(np.where(keep, 0.0, intervals(case.trace.t)))
        columns["t"] = np.round(columns["t"] - gone_s[keep], STAMP_DIGITS)
    # How many rows stay before each one: the index that the first one behind it will have.
    place = np.concatenate([[0], np.cumsum(keep)])
    count = int(place[-1])

    def moved(indices: Iterable[int]) -> tuple[int, ...]:
        return tuple(sorted({int(place[k]) for k in indices} - {0, count}))

    return evolve(
        case,
        trace=Trace(**columns),
        power_cycles=moved(case.power_cycles),
        cuts=moved(case.cuts),
    )


def intervals(t: Floats) -> Floats:
    """The time from the last stamp before it to each row, s; 0 for the first, and without a stamp."""
    known = np.flatnonzero(np.isfinite(t))
    result = np.zeros(len(t))
    result[known[1:]] = np.diff(t[known])
    return result


def prefix(case: Case, rows: int) -> Case:
    """The first rows of a case."""
    return kept(case, np.arange(len(case.trace)) < rows)


def with_column(case: Case, name: str, values: Floats | None) -> Case:
    """The case with other readings in one column; None leaves an optional one out."""
    columns = {other: case.trace.column(other) for other in case.trace.columns if other != name}
    if values is not None:
        columns[name] = values
    elif name not in OPTIONAL_COLUMNS:
        raise ValueError(f"a trace needs the column {name}")
    return evolve(case, trace=Trace(**columns))


def with_settings(case: Case, settings: Settings) -> Case:
    """The case with other settings."""
    return evolve(case, settings=settings)


def key(case: Case) -> tuple[object, ...]:
    """What two cases have in common that a controller cannot tell apart."""
    trace = case.trace
    return (
        tuple((name, trace.column(name).tobytes()) for name in trace.columns),
        case.settings,
        case.soc,
        case.power_cycles,
        case.cuts,
    )
