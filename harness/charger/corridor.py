"""What must come of a case, from its inputs and the rules alone: states, and bounds of the answers.

Theory of operation
-------------------

No charger is run here. For each state that a right charger can be in at a sample the ranges are kept
in which its base, its compensation and its limit can be (`harness.charger.span`). At the next
sample every way to another state that the rules allow is taken, with every movement that they allow;
where two ways meet, the ranges are joined. What is expected is the hull of them all.

A timer may be off by one sampling interval, as for the judge. So two states can be right for a few
samples: `state` is the one by the settings to the letter, `also` has the others.

What is asked of a set-point *at least* starts from a premise: that a charger begins to follow from a
set-point which is at most `compensation_v` lower than the rules give it for the state before. The
requirements allow it to begin from any lower one; then nothing could be expected of it for an hour.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from math import inf, nan

import numpy as np

from ctrl.charger import ChargerSettings, Conduct
from harness.charger.case import ChargerCase
from harness.charger.expected import BOUND_COLUMNS, Corridor
from harness.charger.rules.heard import TIME_SLACK_S, Dwell, Known, known
from harness.charger.span import Reading, Span, Zero

STOPPED, FALLBACK, FOLLOWING = Conduct.STOPPED, Conduct.FALLBACK, Conduct.FOLLOWING
# Bounds are written to the microvolt and to the microampere, outward.
DIGITS = 6


def corridor(case: ChargerCase) -> Corridor:
    """What must come out of a case.

    Args:
        case: settings, and at least one sample.
    """
    words: list[tuple[Conduct, frozenset[Conduct]]] = []
    bounds: list[tuple[float, float, float, float]] = []
    for start, stop in pairwise(sorted({0, *case.power_cycles, len(case.trace)})):
        for word, right, bound in _life(case, start, stop):
            words.append((word, right))
            bounds.append(bound)
    also = np.zeros((len(words), len(Conduct)), dtype=np.bool_)
    for k, (word, right) in enumerate(words):
        for other in right - {word}:
            also[k, other] = True
    table = np.array(bounds, dtype=np.float64)
    table[np.isinf(table)] = nan
    columns = {name: _outward(table[:, k], "most" in name) for k, name in enumerate(BOUND_COLUMNS)}
    return Corridor(np.array([int(w) for w, _ in words], dtype=np.int8), also, **columns)


def _outward(values: np.ndarray, up: bool) -> np.ndarray:
    scale = 10.0**DIGITS
    # What differs from a round number by an error of arithmetic is that number.
    near = np.round(values * scale)
    off = values * scale - near
    whole = np.where(np.abs(off) < 1e-3, near, np.ceil(near + off) if up else np.floor(near + off))
    return whole / scale


_Row = tuple[Conduct, frozenset[Conduct], tuple[float, float, float, float]]


def _life(case: ChargerCase, start: int, stop: int) -> Iterator[_Row]:
    """The samples from a start to the loss of power that ends it."""
    settings = case.settings
    trace = case.trace.part(start, stop)
    spans = {STOPPED: Span.at_power_up(settings)}
    letter, zero = Letter(settings), Zero(settings)
    at = {now.row: now for now in known(settings, trace, 0.0)}
    own_v, own_a = trace.own_v.tolist(), trace.own_a.tolist()
    for row in range(len(trace)):
        now = at.get(row)
        if now is not None:
            letter.step(now)
            spans = _moved(settings, spans, Reading(now, own_v[row], own_a[row], zero.is_due(now)))
        yield letter.state, frozenset(spans), _hull(settings, spans)


def _moved(
    settings: ChargerSettings, spans: dict[Conduct, Span], reading: Reading
) -> dict[Conduct, Span]:
    after: dict[Conduct, Span] = {}
    for was, span in spans.items():
        for state in allowed(settings, was, reading.now):
            moved = span.moved(settings, was, state, reading)
            after[state] = moved if state not in after else after[state].joined(moved)
    return after


def allowed(settings: ChargerSettings, was: Conduct, now: Known) -> Iterator[Conduct]:
    """The states in which a right charger may be after a sample, by the one before it."""
    slack_s = now.slack_s
    is_silent = now.oldest_s - settings.silent_s > slack_s
    may_be_silent = now.oldest_s - settings.silent_s >= -slack_s
    if was is FOLLOWING:
        is_old = now.oldest_s > settings.stale_s + slack_s
        may_be_old = now.oldest_s > settings.stale_s - slack_s
        if now.joined and not is_old:
            yield FOLLOWING
        if (may_be_old or not now.joined) and not is_silent:
            yield FALLBACK
        if (may_be_old or not now.joined) and may_be_silent:
            yield STOPPED
        return
    if now.perhaps_steady_s >= max(settings.steady_s - slack_s, 0.0):
        yield FOLLOWING
    overdue = now.steady_s >= 0.0 and now.steady_s - settings.steady_s > slack_s
    if was is STOPPED and not overdue:
        yield STOPPED
    if was is FALLBACK:
        if may_be_silent:
            yield STOPPED
        if not is_silent and not overdue:
            yield FALLBACK


class Letter:
    """The state by the settings to the letter, with no interval to spare.

    Attributes:
        state: after the last sample.
    """

    def __init__(self, settings: ChargerSettings) -> None:
        """At power-up."""
        self.state = STOPPED
        self._settings = settings
        self._fresh = Dwell()

    def step(self, now: Known) -> None:
        """Go on by one valid sample."""
        s = self._settings
        is_fresh = now.oldest_s <= s.stale_s + TIME_SLACK_S
        steady_s = self._fresh.at(now.t, is_fresh, not now.joined)
        if self.state is not STOPPED and now.oldest_s > s.silent_s + TIME_SLACK_S:
            self.state = STOPPED
        elif self.state is FOLLOWING:
            if not now.joined or not is_fresh:
                self.state = FALLBACK
        elif steady_s >= s.steady_s - TIME_SLACK_S:
            self.state = FOLLOWING


def _hull(
    settings: ChargerSettings, spans: dict[Conduct, Span]
) -> tuple[float, float, float, float]:
    """Bounds of set-point (V) and limit (A) over all states that are right."""
    most_v = min(max(span.most_v for span in spans.values()), settings.highest_v)
    following = spans.get(FOLLOWING)
    if following is None or len(spans) > 1:
        # A charger that does not follow may give as little as it likes.
        least_v = least_a = -inf
    else:
        least_v = min(following.least_v, settings.highest_v)
        least_a = following.limit.least
    most_a = max(0.0 if state is STOPPED else span.most_a for state, span in spans.items())
    return least_v, most_v, least_a, most_a
