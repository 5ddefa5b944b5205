"""A pack's log in parts that can be judged: from where on is it known how a stage began?

A check follows lives that begin in bulk with every timer at 0. A log may begin anywhere. So it is
judged from the first row on that tells all that a decision depends on; what comes before is judged
only by what needs no history.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from attrs import frozen

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.logs.log import Indices, PackLog
from harness.logs.sampling import Sampling
from harness.run import Flags, Floats, Stages, Trace


@frozen
class Part:
    """Rows of a pack's log that are judged together.

    Attributes:
        start: first row.
        stop: row behind the last.
        known: whether it is known how the stage of the first row began.
        fresh: whether the first row is the first sample after power-up.
        settled_s: stamp up to which a decision may depend on what was before, s.
    """

    start: int
    stop: int
    known: bool
    fresh: bool
    settled_s: float


def memory_of(settings: Settings) -> float:
    """How long what was before a row can matter to the dwells behind it, s."""
    return max(
        settings.entry_dwell_s,
        settings.return_dwell_s,
        settings.trip_dwell_s,
        settings.release_dwell_s,
        settings.empty_dwell_s,
        settings.max_gap_s,
    )


def parts_of(
    log: PackLog, settings: Settings, sampling: Sampling, *, complete: bool, from_power_up: bool
) -> list[Part]:
    """The parts of a log in order, each known or not."""
    assert log.stage is not None
    t = log.trace.t
    edges = {0, len(t), *log.cuts}
    if not complete:
        edges |= {*log.restarts, *_gaps(t, sampling.gap_s)}
    memory_s = memory_of(settings) + 2.0 * sampling.longest_s
    found = []
    for begin, end in pairwise(sorted(edges)):
        if begin == 0 and from_power_up:
            found.append(Part(begin, end, known=True, fresh=True, settled_s=-np.inf))
            continue
        first = _first_temperature(log, settings, begin, end)
        known = _known_from(log.stage[first:end], t[first:end], memory_s)
        if known < 0:
            found.append(Part(begin, end, known=False, fresh=False, settled_s=np.inf))
            continue
        known += first
        if known > begin:
            # Up to the row itself, so that the interval that leads to it is looked at.
            found.append(Part(begin, known + 1, known=False, fresh=False, settled_s=np.inf))
        settled_s = _stamp_at(t, known) + memory_s
        found.append(Part(known, end, known=True, fresh=False, settled_s=settled_s))
    return found


def believable(trace: Trace, settings: Settings) -> Flags:
    """The rows whose readings can be believed."""
    low_v, high_v = settings.plausible_v
    low_a, high_a = settings.plausible_i
    plausible = (trace.v >= low_v) & (trace.v <= high_v) & (trace.i >= low_a) & (trace.i <= high_a)
    plausible &= np.isfinite(trace.t)
    return plausible


def _gaps(t: Floats, gap_s: float) -> list[int]:
    """The rows before which lies a gap of the log, or a stamp that steps back."""
    finite = np.flatnonzero(np.isfinite(t))
    step_s = np.diff(t[finite])
    return [int(k) for k in finite[1:][(step_s > gap_s * (1 + 1e-9)) | (step_s < -1e-9)]]


def _first_temperature(log: PackLog, settings: Settings, begin: int, end: int) -> int:
    """Where thresholds move with the temperature they are not known before the first one."""
    if settings.compensation_v_per_c == 0.0 or log.trace.temp_c is None:
        return begin
    known = np.flatnonzero(
        np.isfinite(log.trace.temp_c[begin:end]) & believable(log.trace.part(begin, end), settings)
    )
    return begin + int(known[0]) if len(known) else end


def _stamp_at(t: Floats, row: int) -> float:
    later = t[row:]
    finite = np.flatnonzero(np.isfinite(later[:1000]))
    return float(later[finite[0]]) if len(finite) else np.inf


def _known_from(stage: Stages, t: Floats, memory_s: float) -> int:
    """The first row from which on every stage is known from its beginning; -1 if there is none.

    A log that begins in bulk and stays there for longer than every dwell is known at once: a dwell
    that began before it is over, or was broken. Any other one is known from its first change into a
    stage; not into inhibited, since what tripped it may have begun before the log.
    """
    if not len(stage):
        return -1
    changes: Indices = np.flatnonzero(stage[1:] != stage[:-1]) + 1
    behind_s = _stamp_at(t, 0) + memory_s
    first_change_s = float(t[changes[0]]) if len(changes) else np.inf
    if stage[0] == Stage.BULK and not first_change_s <= behind_s:
        return 0
    blocked = changes[stage[changes] == Stage.INHIBITED]
    for k in changes.tolist():
        if stage[k] == Stage.INHIBITED:
            continue
        later = blocked[blocked > k]
        if not len(later) or t[later[0]] > _stamp_at(t, k) + memory_s:
            return int(k)
    return -1
