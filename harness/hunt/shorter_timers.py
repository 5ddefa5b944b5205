"""Shorter timers: the setting, and the stretch of the trace that it times, by the same seconds."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import evolve

from ctrl.errors import SettingsError
from harness.hunt.edit import STAMP_DIGITS, kept, with_column
from harness.hunt.plainer_settings import TIMERS

if TYPE_CHECKING:
    from harness.hunt.reduce import Reducer

SHORT_S = (0.0, 1.0, 2.0, 5.0, 10.0, 30.0)
MOST_STRETCHES = 6

Stretch = tuple[int, int]


Bends = Callable[["Reducer"], list[Any]]


def shorter_timers(reducer: Reducer) -> None:
    """Try shorter times for each timer of a controller, alone and with what it times."""
    timers_shortened(reducer, TIMERS, _bends)


def timers_shortened(reducer: Reducer, names: Sequence[str], bends: Bends) -> None:
    """The same for any role.

    Args:
        reducer: the smallest case so far.
        names: of the settings that are times.
        bends: says which values, one a row, are the same throughout what a timer times.
    """
    for name in names:
        for short_s in SHORT_S:
            value = getattr(reducer.case.settings, name)
            if value is None or short_s >= value:
                break
            if _shortened(reducer, name, value, short_s, bends):
                break


def _shortened(reducer: Reducer, name: str, value: float, short_s: float, bends: Bends) -> bool:
    case = reducer.case
    try:
        settings = case.settings.changed(**{name: short_s})
    except SettingsError:
        return False
    if reducer.offer(evolve(case, settings=settings)):
        return True
    return any(
        reducer.offer(evolve(shorter, settings=settings))
        for shorter in _without(case, _stretches(reducer, bends(reducer)), value - short_s)
    )


def _bends(reducer: Reducer) -> list[Any]:
    """Stages and voltages."""
    trace, run = reducer.case.trace, reducer.shown.run
    return [trace.v] if run is None else [run.answers.stage, trace.v]


def _stretches(reducer: Reducer, columns: list[Any]) -> list[list[Stretch]]:
    """Stretches of rows that one timer may time: of equal values, single and together."""
    trace = reducer.case.trace
    found: list[list[Stretch]] = []
    for values in columns:
        edges = [0, *(np.flatnonzero(values[1:] != values[:-1]) + 1).tolist(), len(trace) - 1]
        pairs = [(a, b) for a, b in pairwise(edges) if a < b]
        found += [[pair] for pair in pairs[-MOST_STRETCHES:]]
        for value in np.unique(values[[a for a, _ in pairs]]).tolist() if pairs else ():
            alike = [(a, b) for a, b in pairs if values[a] == value]
            if len(alike) > 1:
                found.append(alike)
    return found


def _without(case: Any, choices: list[list[Stretch]], by_s: float) -> Iterator[Any]:
    """The case with so many seconds less in the stretches of each choice, at one end or the other."""
    t = case.trace.t
    rows = np.arange(len(t))
    for stretches in choices:
        if not all(t[b] - t[a] >= by_s for a, b in stretches):
            continue
        for at_start in (True, False):
            keep, new_t = np.ones(len(t), np.bool_), t.copy()
            for a, b in stretches:
                inside = (rows > a) & (rows < b)
                if at_start:
                    gone = inside & (t - by_s <= t[a])
                    moved = inside & ~gone
                else:
                    gone = inside & (t >= t[b] - by_s)
                    moved = np.zeros(len(t), np.bool_)
                keep &= ~gone
                new_t[moved] -= by_s
                new_t[b:] -= by_s
            yield kept(with_column(case, "t", np.round(new_t, STAMP_DIGITS)), keep)
