"""By how much the temperature shifts the pack voltages, and what could be taken for it by mistake.

What the controller believes of its sensor is not reported; it follows from the readings alone. Where
the sensor is within one interval of being lost, both shifts are right.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen

from ctrl.settings import Settings
from harness.rules.held import TIME_SLACK_S, Indices
from harness.run import Flags, Floats

_REFINEMENTS = (
    "compensation_min_c",
    "compensation_max_c",
    "sensor_lost_s",
    "sensor_frozen_s",
    "sensor_jump_c",
)


@frozen(eq=False)
class Shifts:
    """Shifts of the pack voltages at each valid sample, V, and where a rule about them bears.

    Attributes:
        right_v: by the rules.
        least_v: the least that is right, where a timer of the sensor is within one interval.
        most_v: the greatest that is right.
        unbounded_v: without `compensation_min_c` and `compensation_max_c`.
        kept_v: by the last believed reading, as if the sensor could not be lost.
        believing_v: the same, as if every reading were believed.
        bounded: where a bound makes a difference.
        missing: where a sensor without believed readings may not raise the voltages, and would.
        frozen: where one that does not change may not, and would.
        jumped: where a reading is not believed, or the last one was not.
        found_again: where a sensor that had been lost raises the voltages once more.
        before_first: before the first reading.
    """

    right_v: Floats
    least_v: Floats
    most_v: Floats
    unbounded_v: Floats
    kept_v: Floats
    believing_v: Floats
    bounded: Flags
    missing: Flags
    frozen: Flags
    jumped: Flags
    found_again: Flags
    before_first: Flags


def shifts_of(settings: Settings, clock: Floats, temp_c: Floats, tolerance_s: float) -> Shifts:
    """The shifts that follow from the readings of valid samples.

    Args:
        settings: with a compensation.
        clock: time that has passed since the first valid sample, s; it never steps back.
        temp_c: readings, degrees C; NaN where there is none.
        tolerance_s: declared tolerance of the controller's clock, s.
    """
    s = settings
    present = np.isfinite(temp_c)
    if not any(getattr(s, name) is not None for name in _REFINEMENTS):
        return _plain(s, temp_c, _latest(present))
    believed = present if s.sensor_jump_c is None else _believed(temp_c, s.sensor_jump_c)
    read = _latest(believed)
    changed = _latest(_changes(temp_c, believed))
    known_c, newest_c = _at(temp_c, read), _at(temp_c, _latest(present))
    kept_v, believing_v = _shift(s, known_c), _shift(s, newest_c)
    unbounded_v = s.compensation_v_per_c * (known_c - s.reference_c)
    unbounded_v = np.where(np.isfinite(known_c), unbounded_v, 0.0)
    raises = kept_v > 0.0
    around = _around(clock, s.max_gap_s, tolerance_s)
    lost = _lost(clock, read, s.sensor_lost_s, around)
    stuck = _lost(clock, changed, s.sensor_frozen_s, around)
    may, is_now, must = (one | other for one, other in zip(lost, stuck, strict=True))
    right_v = np.where(is_now & raises, 0.0, kept_v)
    return Shifts(
        right_v=right_v,
        least_v=np.where(may & raises, 0.0, kept_v),
        most_v=np.where(must & raises, 0.0, kept_v),
        unbounded_v=unbounded_v,
        kept_v=kept_v,
        believing_v=believing_v,
        bounded=unbounded_v != kept_v,
        missing=lost[2] & raises,
        frozen=stuck[2] & raises & ~lost[1],
        jumped=believing_v != kept_v,
        found_again=raises & ~may & np.logical_or.accumulate(is_now),
        before_first=read < 0,
    )


def _plain(s: Settings, temp_c: Floats, read: Indices) -> Shifts:
    """The same where every reading is believed, for ever, and shifts as far as it says."""
    shift_v = s.compensation_v_per_c * (temp_c[read] - s.reference_c)
    before_first = read < 0
    shift_v[before_first] = 0.0
    nowhere = np.zeros(len(temp_c), np.bool_)
    return Shifts(
        right_v=shift_v,
        least_v=shift_v,
        most_v=shift_v,
        unbounded_v=shift_v,
        kept_v=shift_v,
        believing_v=shift_v,
        bounded=nowhere,
        missing=nowhere,
        frozen=nowhere,
        jumped=nowhere,
        found_again=nowhere,
        before_first=before_first,
    )


def _believed(temp_c: Floats, jump_c: float) -> Flags:
    """Where a reading is believed: near the last believed one, for ever."""
    believed = np.isfinite(temp_c)
    known_c = np.nan
    for k in np.flatnonzero(believed).tolist():
        # Before the first reading there is nothing to compare with, and the comparison is false.
        if abs(temp_c[k] - known_c) > jump_c:
            believed[k] = False
        else:
            known_c = temp_c[k]
    return believed


def _changes(temp_c: Floats, believed: Flags) -> Flags:
    """Where a believed reading is another than the believed one before it."""
    at = np.flatnonzero(believed)
    changes = np.zeros(len(temp_c), np.bool_)
    changes[at] = np.append(True, np.diff(temp_c[at]) != 0.0)[: len(at)]
    return changes


def _latest(flags: Flags) -> Indices:
    """At each sample, the latest one up to it where the flag is true; -1 where there is none."""
    return np.maximum.accumulate(np.where(flags, np.arange(len(flags)), -1))


def _at(temp_c: Floats, index: Indices) -> Floats:
    return np.where(index >= 0, temp_c[index], np.nan)


def _shift(s: Settings, known_c: Floats) -> Floats:
    low_c = -np.inf if s.compensation_min_c is None else s.compensation_min_c
    high_c = np.inf if s.compensation_max_c is None else s.compensation_max_c
    shift_v = s.compensation_v_per_c * (np.clip(known_c, low_c, high_c) - s.reference_c)
    return np.where(np.isfinite(known_c), shift_v, 0.0)


def _around(clock: Floats, max_gap_s: float, tolerance_s: float) -> tuple[Indices, Floats]:
    """The sample before each with another stamp (-1: none), and what the clock may show too, s."""
    before = np.searchsorted(clock, clock - tolerance_s, side="left") - 1
    behind = np.searchsorted(clock, clock + tolerance_s, side="right")
    interval_s = clock[np.minimum(behind, len(clock) - 1)] - clock if len(clock) else clock
    return before, clock + np.where(interval_s <= max_gap_s, interval_s, 0.0) + tolerance_s


def _lost(
    clock: Floats, since: Indices, limit_s: float | None, around: tuple[Indices, Floats]
) -> tuple[Flags, Flags, Flags]:
    """Where a sensor may be lost, is, and must have been found to be, by one of its limits."""
    if limit_s is None or not len(clock):
        never = np.zeros(len(clock), np.bool_)
        return never, never, never
    before, latest_s = around
    # A timer may be off by one interval, but not at the very reading from which it counts.
    begin_s, limit_s = clock[since], limit_s - TIME_SLACK_S
    known = (since >= 0) & (since < np.arange(len(clock)))
    is_lost = known & (clock - begin_s >= limit_s)
    may = known & (latest_s - begin_s >= limit_s)
    must = is_lost & (before >= since) & (clock[np.maximum(before, 0)] - begin_s >= limit_s)
    return may | is_lost, is_lost, must
