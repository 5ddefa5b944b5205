"""Stamps of a log become seconds that run on: wraps, dates, zones, restarts, a clock that is set."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
from attrs import frozen

from harness.errors import InputError
from harness.logs.mapping import Clock
from harness.logs.table import NO_DATE, Cells, Dates
from harness.run import Flags, Floats

# A step over the end of a counter is a wrap if it is no longer than this; else it is a restart.
WRAP_WITHIN_S = 600.0
# Stamps that begin again at no more than this, or two usual intervals, tell of a restart.
NEAR_ZERO_S = 10.0
BACK_SLACK_S = 1e-9
_QUARTER_US = 900_000_000
_EPOCH = datetime(1970, 1, 1)


@frozen(eq=False)
class Stamps:
    """What the stamps of a log come to.

    Attributes:
        t: s from the first row; NaN where a stamp is missing.
        start: wall-clock time of the first row; None where stamps are no dates.
        restarts: rows at which stamps begin again near 0.
        cuts: rows at which the logger's clock was set back.
        notes: what was noticed, as sentences.
    """

    t: Floats
    start: datetime | None = None
    restarts: tuple[int, ...] = ()
    cuts: tuple[int, ...] = ()
    notes: tuple[str, ...] = ()


def stamps_of(cells: Cells, clock: Clock, path: Path) -> Stamps:
    """The stamps as seconds from the first row.

    Args:
        cells: the column of the log.
        clock: how time is written there.
        path: the log, for errors.

    Raises:
        InputError: no row has a stamp.
    """
    notes: list[str] = []
    if isinstance(cells, Dates):
        known = cells.us != NO_DATE
        us = cells.us
        if known.any() and not cells.has_zone and clock.zone is not None:
            us = np.where(known, _to_utc(us, known, clock.zone, notes), us)
        first_us = int(us[known][0]) if known.any() else 0
        t = np.where(known, (us - first_us) / 1e6, np.nan)
        zone = clock.zone or UTC
        start = (_EPOCH + timedelta(microseconds=first_us)).replace(tzinfo=UTC).astimezone(zone)
    else:
        assert isinstance(cells, np.ndarray)
        assert clock.seconds is not None
        t = _seconds(cells, clock.seconds)
        t = np.where(np.isinf(t), np.nan, t) if np.isinf(t).any() else t
        known = np.isfinite(t)
        start = None
    if not known.any():
        hint = "name another column in the mapping, as [time] column"
        raise InputError("no row has a time stamp", file=path, column=clock.name, hint=hint)
    whole = bool(known.all())
    rows = None if whole else np.flatnonzero(known)
    stamps = t if whole else t[known]
    stamps, restarts, cuts = _in_order(stamps, clock, notes)
    if not isinstance(cells, Dates):
        stamps = stamps - stamps[0]
    if whole:
        t = stamps
    else:
        assert rows is not None
        t = t.copy()
        t[rows] = stamps
        restarts, cuts = [int(rows[k]) for k in restarts], [int(rows[k]) for k in cuts]
        notes.append(f"{len(t) - len(rows):,} rows have no time stamp")
    return Stamps(t, start, tuple(restarts), tuple(cuts), tuple(notes))


def _seconds(cells: Floats, unit_s: float) -> Floats:
    if unit_s == 1.0:
        return cells
    # A division by a whole number is right to the last digit.
    return cells * unit_s if unit_s > 1.0 else cells / round(1.0 / unit_s)


def _in_order(t: Floats, clock: Clock, notes: list[str]) -> tuple[Floats, list[int], list[int]]:
    """Stamps without wraps; where they begin anew; where they were set back."""
    step = np.diff(t)
    back = np.flatnonzero(step < -BACK_SLACK_S) + 1
    if not len(back):
        return t, [], []
    if clock.wraps_at is not None and clock.seconds is not None:
        period_s = clock.wraps_at * clock.seconds
        over = step[back - 1] + period_s
        wraps = back[(over >= 0) & (over <= min(0.9 * period_s, WRAP_WITHIN_S))]
        if len(wraps):
            turns = np.zeros(len(t))
            turns[wraps] = period_s
            t = t + np.cumsum(turns)
            notes.append(f"the clock wrapped {len(wraps):,} times, every {period_s:g} s")
            back = np.setdiff1d(back, wraps, assume_unique=True)
    if clock.of_logger:
        if len(back):
            notes.append(f"the logger's clock was set back {len(back):,} times; judged in parts")
        return t, [], back.tolist()
    usual_s = float(np.median(step[step > 0])) if (step > 0).any() else 0.0
    near_s = max(NEAR_ZERO_S, 2.0 * usual_s)
    raw = (
        t
        if clock.wraps_at is None or clock.seconds is None
        else t % (clock.wraps_at * clock.seconds)
    )
    restarts = back[raw[back] <= near_s] if clock.restarts else back[:0]
    if len(restarts):
        notes.append(
            f"stamps begin again near 0 at {len(restarts):,} rows: taken as losses of power"
        )
    if len(back) > len(restarts):
        rows = len(back) - len(restarts)
        notes.append(f"stamps step back at {rows:,} {'row' if rows == 1 else 'rows'}")
    return t, restarts.tolist(), []


def _to_utc(
    us: npt.NDArray[np.int64], known: Flags, zone: ZoneInfo, notes: list[str]
) -> npt.NDArray[np.int64]:
    """Local times of a zone in UTC; the hour that comes twice is told by the order of the rows."""
    quarter = us // _QUARTER_US
    first_of, place = np.unique(quarter[known], return_inverse=True)
    early = np.array([_offset_us(int(q), zone, 0) for q in first_of], np.int64)[place]
    late = np.array([_offset_us(int(q), zone, 1) for q in first_of], np.int64)[place]
    local = us[known]
    offset = early.copy()
    twice = early > late
    if twice.any():
        offset[twice] = np.where(_second_pass(local, early, twice), late, early)[twice]
        notes.append(
            f"{int(twice.sum()):,} rows lie in an hour that {zone.key} has twice; "
            "their order tells which one it is"
        )
    skipped = int((early < late).sum())
    if skipped:
        notes.append(f"{skipped:,} rows lie in an hour that {zone.key} skips; is that the zone?")
    result = us.copy()
    result[known] = local - offset
    return result


def _offset_us(quarter: int, zone: ZoneInfo, fold: int) -> int:
    local = (_EPOCH + timedelta(microseconds=quarter * _QUARTER_US)).replace(tzinfo=zone, fold=fold)
    offset = local.utcoffset()
    assert offset is not None
    return offset // timedelta(microseconds=1)


def _second_pass(local: npt.NDArray[np.int64], early: npt.NDArray[np.int64], twice: Flags) -> Flags:
    """Which rows of an hour that comes twice belong to its second time."""
    second = np.zeros(len(local), np.bool_)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], twice.view(np.int8), [0]))))
    for begin, end in zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True):
        part = local[begin:end]
        backs = np.flatnonzero(np.diff(part) < 0)
        if len(backs):
            second[begin + int(backs[0]) + 1 : end] = True
        elif begin > 0 and early[begin - 1] != early[begin]:
            # It is entered from winter time: a log in which the first pass is missing.
            second[begin:end] = True
    return second
