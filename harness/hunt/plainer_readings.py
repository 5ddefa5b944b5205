"""Plainer readings: like their neighbours, and with few digits."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import evolve, frozen

from harness.hunt.edit import with_column
from harness.hunt.size import USUAL_SOC
from harness.run import Case, Floats

if TYPE_CHECKING:
    from harness.hunt.reduce import Reducer

# What each column is tried at, the plainest first; the pack voltage at what is asked for.
USUAL = {
    "i": (0.0, 10.0, 50.0, 100.0, -10.0, -50.0, -100.0),
    "cell_max_v": (3.4, 3.7),
    "temp_c": (25.0, 20.0, 0.0),
    "temp_max_c": (25.0, 20.0, 50.0),
}
MOST_DIGITS = 4
# A cell of 0 V would be shorter to write, and no cell.
LEAST_DIGITS = {"cell_max_v": 1, "v": 0}


def plainer_start(reducer: Reducer) -> None:
    """Bring the starting count to one half, or to fewer digits."""
    for soc in (USUAL_SOC, *(round(reducer.case.soc, digits) for digits in range(MOST_DIGITS))):
        if 0.0 <= soc <= 1.0 and reducer.offer(evolve(reducer.case, soc=soc)):
            return


@frozen
class PlainColumn:
    """How the readings of one column are made plainer.

    Attributes:
        name: its name in the line protocol.
        usual: takes a case, and says at which values it is tried, the plainest first.
        least: the fewest digits behind the point that all of it is rounded to.
        least_each: the same for one stretch of equal readings; negative for tens.
    """

    name: str
    usual: Callable[[Any], tuple[float, ...]]
    least: int = 0
    least_each: int = -1


def plainer_readings(reducer: Reducer) -> None:
    """Make the readings of a controller plainer."""
    for name in ("i", "temp_c", "temp_max_c", "cell_max_v", "v"):
        if name in reducer.case.trace.columns:
            least = LEAST_DIGITS.get(name)
            digits = (0, -1) if least is None else (least, least)
            plainer_column(reducer, PlainColumn(name, _usual_of(name), *digits))


def plainer_column(reducer: Reducer, column: PlainColumn) -> None:
    """Bring a column to one value, or each stretch to its neighbour's, or to fewer digits."""
    name = column.name
    values = reducer.case.trace.column(name)
    for value in (*column.usual(reducer.case), *_met(values)):
        if reducer.offer(with_column(reducer.case, name, np.full(len(values), value))):
            break
    _rounded_at_once(reducer, column)
    _like_neighbours(reducer, name)
    _one_by_one(reducer, column)


def _rounded_at_once(reducer: Reducer, column: PlainColumn) -> None:
    name = column.name
    for digits in range(column.least, MOST_DIGITS):
        rounded = np.round(reducer.case.trace.column(name), digits)
        if reducer.offer(with_column(reducer.case, name, rounded)):
            return


def _like_neighbours(reducer: Reducer, name: str) -> None:
    """Set each stretch of equal readings to the one before it, or the one behind it."""
    at = 0
    while True:
        stretches = _stretches(reducer.case.trace.column(name))
        if at >= len(stretches):
            return
        start, stop = stretches[at]
        values = reducer.case.trace.column(name)
        beside = [values[k] for k in (start - 1, stop) if 0 <= k < len(values)]
        if not any(
            reducer.offer(_set(reducer.case, name, start, stop, value))
            for value in beside
            if np.isfinite(value)
        ):
            at += 1


def _one_by_one(reducer: Reducer, column: PlainColumn) -> None:
    name = column.name
    for start, stop in reversed(_stretches(reducer.case.trace.column(name))):
        value = float(reducer.case.trace.column(name)[start])
        if not np.isfinite(value):
            plain = column.usual(reducer.case)
        else:
            digits = range(column.least_each, MOST_DIGITS)
            plain = (*column.usual(reducer.case), *(round(value, most) for most in digits))
        for other in plain:
            if other != value and reducer.offer(_set(reducer.case, name, start, stop, other)):
                break


def _usual_of(name: str) -> Callable[[Case], tuple[float, ...]]:
    if name == "v":
        return lambda case: (case.settings.absorption_v, case.settings.float_v)
    return lambda _: USUAL[name]


def _stretches(values: Floats) -> list[tuple[int, int]]:
    """First row and row behind the last of each stretch of equal readings."""
    changes = values[1:] != values[:-1]
    changes &= np.isfinite(values[1:]) | np.isfinite(values[:-1])
    edges = [0, *(np.flatnonzero(changes) + 1).tolist(), len(values)]
    return list(pairwise(edges))


def _met(values: Floats) -> list[float]:
    """The values of a column, the most frequent first."""
    found, counts = np.unique(values[np.isfinite(values)], return_counts=True)
    order = np.argsort(-counts, kind="stable")
    return [float(value) for value in found[order][:3]]


def _set(case: Any, name: str, start: int, stop: int, value: float) -> Any:
    values = case.trace.column(name).copy()
    values[start:stop] = value
    return with_column(case, name, values)
