"""A pack of a log beside what the rules make of its readings."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from attrs import frozen

from ctrl.compiled import replay
from ctrl.controller import start
from ctrl.settings import Settings
from ctrl.state import Event, events_of
from ctrl.vocabulary import Happened, Stage
from harness.logs.assembled import without_gaps
from harness.logs.log import Indices, PackLog
from harness.logs.parts import believable
from harness.logs.sampling import sampling_of
from harness.run import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Floats, Stages, Trace

# With what the count begins where the log does not say.
UNKNOWN_SOC = 0.5


@frozen
class Happening:
    """Something that happened by the rules.

    Attributes:
        row: row of the log.
        event: what.
    """

    row: int
    event: Event


@frozen(eq=False)
class Ruled:
    """A pack of a log and what the reference, with its settings, does on it.

    Attributes:
        log: the pack.
        settings: its settings.
        level_v: pack voltage with the shift by temperature taken off, as thresholds see it, V.
        stage: by the rules, one entry a row.
        soc: by the rules.
        happened: what happened, in the order of the rows.
    """

    log: PackLog
    settings: Settings
    level_v: Floats
    stage: Stages
    soc: Floats
    happened: tuple[Happening, ...]

    @property
    def name(self) -> str:
        """The name of the pack."""
        return self.log.name

    def rows(self, *names: str) -> list[int]:
        """The rows of these events."""
        return [each.row for each in self.happened if each.event.name in names]

    def within(self, start: int, stop: int) -> tuple[Happening, ...]:
        """What happened from one row up to another."""
        return tuple(each for each in self.happened if start <= each.row < stop)


def ruled(log: PackLog, settings: Settings) -> Ruled:
    """Replay the reference on the readings of a pack; a restart in the log is a loss of power."""
    soc = UNKNOWN_SOC if log.soc is None else _first(log.soc)
    state = start(soc)
    edges = sorted({0, len(log), *log.restarts})
    stages, counts, news = [], [], []
    for k, (begin, end) in enumerate(pairwise(edges)):
        if k:
            state = start(state.soc)
        part = log.trace.part(begin, end)
        said = replay(settings, state, *_columns(part), requests=False)
        state = said.state
        stages.append(said.stage)
        counts.append(said.soc)
        news += [
            Happening(begin + int(j), event)
            for j in np.flatnonzero(said.happened)
            for event in events_of(int(said.news[j]), Stage(int(said.stage[j])))
        ]
    return Ruled(
        log=log,
        settings=settings,
        level_v=_level(log.trace, settings),
        stage=np.concatenate(stages),
        soc=np.concatenate(counts),
        happened=tuple(news),
    )


def bridged(log: PackLog, settings: Settings, gap_s: float | None = None) -> Settings:
    """Settings by which rows that only the logger left out are no gap of the controller.

    A log lacks samples that the controller saw. That a row or two are missing says nothing of it, and
    neither does a longer gap through which its stage went on.

    Args:
        log: the pack, in a log that is not complete.
        settings: its settings.
        gap_s: longest interval that is no gap of the log, s; None leaves it to the log.
    """
    limit_s = sampling_of(log.trace.t, gap_s).gap_s
    rows = np.flatnonzero(believable(log.trace, settings))
    apart_s = np.diff(log.trace.t[rows])
    fair = apart_s <= limit_s
    if log.stage is not None:
        before, after = log.stage[rows[:-1]], log.stage[rows[1:]]
        fair |= (before == after) & (before != Stage.INHIBITED)
    for restart in log.restarts:
        fair &= ~((rows[:-1] < restart) & (restart <= rows[1:]))
    longest_s = float(apart_s[fair].max(initial=0.0))
    return settings if longest_s <= settings.max_gap_s else without_gaps(settings, longest_s)


def resets_on(trace: Trace, settings: Settings, soc: float = UNKNOWN_SOC) -> Indices:
    """The rows at which the reference, begun afresh, calls a pack full on these readings."""
    said = replay(settings, start(soc), *_columns(trace), requests=False)
    rows: Indices = np.flatnonzero(said.full_reset)
    return rows


def holds_on(trace: Trace, settings: Settings, soc: float = UNKNOWN_SOC) -> Indices:
    """The rows at which the reference, begun afresh, starts a hold on these readings."""
    said = replay(settings, start(soc), *_columns(trace), requests=False)
    rows: Indices = np.flatnonzero(said.happened & Happened.HOLD_STARTED)
    return rows


def _columns(trace: Trace) -> list[Any]:
    return [getattr(trace, name) for name in REQUIRED_COLUMNS + OPTIONAL_COLUMNS]


def _first(values: Floats) -> float:
    finite = values[np.isfinite(values)]
    return float(min(max(finite[0], 0.0), 1.0)) if len(finite) else UNKNOWN_SOC


def _level(trace: Trace, settings: Settings) -> Floats:
    if settings.compensation_v_per_c == 0.0 or trace.temp_c is None:
        return trace.v
    temp_c = _held(trace.temp_c, settings.reference_c)
    return trace.v - settings.compensation_v_per_c * (temp_c - settings.reference_c)


def _held(values: Floats, before: float) -> Floats:
    """Each missing value as the last one that was there."""
    there = np.isfinite(values)
    last = np.maximum.accumulate(np.where(there, np.arange(len(values)), -1))
    return np.where(last >= 0, values[np.maximum(last, 0)], before)
