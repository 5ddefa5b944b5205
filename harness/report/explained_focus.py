"""What to magnify of a day: which rows, which threshold, which timer, and what was missing."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

import numpy as np
from attrs import frozen

from harness.explain.charge import ChargeDay
from harness.explain.reason import Cause, Reason, plain

CUT = (Cause.GAP, Cause.POWER_LOST, Cause.CLOCK_JUMP)
# The panels of a picture from the top down.
VOLTAGE, CURRENT, MORE = 0, 1, 2


@frozen
class Focus:
    """What is looked at, in rows of the day.

    Attributes:
        title: what is magnified.
        told: what there is to see, with the numbers.
        first: first row of it.
        last: last row of it.
        at: the row that decides.
        level: the setting of the threshold; empty for none.
        bar: the row at which a dwell or timer began and the one at which it ended, how long it had
            to run in s, and its name; None for none.
        measure: panel, what was read, what it is compared with, and how far apart they are.
    """

    title: str
    told: str
    first: int
    last: int
    at: int
    level: str = ""
    bar: tuple[int, int, float, str] | None = None
    measure: tuple[int, float, float, str] | None = None


def focus_of(pack: ChargeDay, reason: Reason) -> Focus | None:
    """What to magnify of a pack on a day; None where no reading can be believed."""
    if pack.peak < 0:
        return None
    recorded = pack.recorded_resets
    full = bool(pack.rows_of("full_reset")) or (recorded is not None and len(recorded) > 0)
    if full and isfinite(reason.t):
        return _full(pack, reason)
    if reason.cause is Cause.PROTECTION and isfinite(reason.t):
        return _tripped(pack, reason)
    if reason.cause in CUT and isfinite(reason.t):
        return _cut(pack, reason)
    denied, started = pack.rows_of("full_denied"), pack.rows_of("hold_started")
    if denied:
        return _denied(pack, reason, denied[-1])
    if started:
        return _unfinished(pack, started[-1])
    return _entry(pack)


def _entry(pack: ChargeDay) -> Focus:
    """The voltage came near `entry_v`, or to it, and did not stand there."""
    s = pack.settings
    longest_s, first, last = pack.longest(s.entry_v)
    began, ended, top = pack.peak, pack.peak, pack.peak
    if first >= 0:
        began, ended = first, last
        top = first + int(np.nanargmax(pack.level_v[first : last + 1]))
    read_v = float(pack.level_v[top])
    words, sentence = _apart(read_v, s.entry_v)
    told = (
        f"The pack came to {read_v:.3f} V, {sentence} entry_v ({plain(s.entry_v)} V); it stood at or"
        f" above it for {longest_s:.1f} s of the {plain(s.entry_dwell_s)} s that are needed."
    )
    return Focus(
        "the voltage at entry_v", told, began, ended, top, "entry_v",
        (began, ended, s.entry_dwell_s, "entry_dwell_s"),
        # Where it stood long enough to be seen the dwell says what was missing.
        None if first >= 0 else (VOLTAGE, read_v, s.entry_v, words),
    )  # fmt: skip


def _apart(read_v: float, asked_v: float) -> tuple[str, str]:
    """How far a voltage is from a threshold: beside the picture, and before the threshold's name."""
    apart_mv = 1e3 * (read_v - asked_v)
    far = f"{abs(apart_mv):.0f} mV"
    return (f"{far} short", f"{far} short of") if apart_mv < 0 else (f"{far} above", f"{far} above")


def _denied(pack: ChargeDay, reason: Reason, row: int) -> Focus:
    """The recheck at the end of a hold said no."""
    s, level_v = pack.settings, float(pack.level_v[row])
    began = _last_before(pack.rows_of("hold_started"), row)
    since = _row(pack, reason.t) if isfinite(reason.t) else row
    words, sentence = _apart(level_v, s.full_v)
    told = f"At the recheck the pack had {level_v:.3f} V, {sentence} full_v ({plain(s.full_v)} V)."
    measure = (VOLTAGE, level_v, s.full_v, words)
    if level_v >= s.full_v and s.taper_a is not None:
        current_a = float(pack.trace.i[row])
        over_a = abs(current_a) - s.taper_a
        told += f" The current was {current_a:.1f} A, {over_a:.1f} A over taper_a."
        measure = (CURRENT, current_a, s.taper_a, f"{over_a:.1f} A over")
    bar = None if began < 0 else (began, _expiry(pack, began, row), s.hold_s, "hold_s")
    return Focus(
        "the recheck at the end of the hold", told, min(since, row), max(since, row), row, "full_v",
        bar, measure,
    )  # fmt: skip


def _cut(pack: ChargeDay, reason: Reason) -> Focus:
    """A gap, a clock that stepped back, or a loss of power cut the hold off."""
    s, last = pack.settings, _row(pack, reason.t)
    later = np.flatnonzero(pack.valid[last + 1 :])
    after = last + 1 + int(later[0]) if len(later) else last
    began = _last_before(pack.rows_of("hold_started"), last)
    apart_s = pack.stamp(after) - pack.stamp(last)
    told = {
        Cause.GAP: f"For {apart_s:.0f} s there is no sample, and max_gap_s is {plain(s.max_gap_s)} s.",
        Cause.CLOCK_JUMP: f"The clock steps back by {-apart_s:.1f} s from one sample to the next.",
        Cause.POWER_LOST: "The controller starts anew.",
    }[reason.cause]
    if began < 0:
        return Focus("what cut the hold off", told, last, after, last)
    told += f" The hold had begun {pack.stamp(last) - pack.stamp(began):.0f} s before."
    return Focus(
        "what cut the hold off", told, last, after, last, "full_v",
        (began, last, s.hold_s, "hold_s"),
    )  # fmt: skip


def _tripped(pack: ChargeDay, reason: Reason) -> Focus:
    """Protection came in."""
    s, row = pack.settings, _row(pack, reason.t)
    told = reason.chain[-1].sentence
    cells = pack.trace.cell_max_v
    if reason.unit != "mV" or cells is None or s.cell_limit_v is None:
        return Focus("protection", told, row, row, row)
    over_mv = 1e3 * (float(cells[row]) - s.cell_limit_v)
    words = f"{over_mv:.0f} mV over" if over_mv >= 0.5 else "at the limit"
    return Focus(
        "the highest cell at its limit", told, row, row, row,
        measure=(MORE, float(cells[row]), s.cell_limit_v, words),
    )  # fmt: skip


def _full(pack: ChargeDay, reason: Reason) -> Focus:
    """The pack was full."""
    s, row = pack.settings, _row(pack, reason.t)
    level_v = float(pack.level_v[row])
    began = _last_before(pack.rows_of("hold_started"), row)
    words, sentence = _apart(level_v, s.full_v)
    told = f"The pack had {level_v:.3f} V, {sentence} full_v ({plain(s.full_v)} V)."
    bar = None if began < 0 else (began, _expiry(pack, began, row), s.hold_s, "hold_s")
    first = row if began < 0 else began
    return Focus(
        "the full reset", told, first, row, row, "full_v", bar, (VOLTAGE, level_v, s.full_v, words)
    )


def _unfinished(pack: ChargeDay, began: int) -> Focus:
    """A hold began and did not end that day."""
    last = len(pack.level_v) - 1
    told = (
        f"The hold began {pack.stamp(last) - pack.stamp(began):.0f} s before the log of that day"
        f" ends; hold_s is {plain(pack.settings.hold_s)} s."
    )
    bar = (began, last, pack.settings.hold_s, "hold_s")
    return Focus("a hold that had not ended", told, began, last, began, "full_v", bar)


def _row(pack: ChargeDay, t: float) -> int:
    """The row of the day with a stamp, or the last before it."""
    same = np.flatnonzero(pack.trace.t == t)
    return int(same[0]) if len(same) else pack.row_at(t)


def _last_before(rows: Sequence[int], row: int) -> int:
    return max((each for each in rows if each <= row), default=-1)


def _expiry(pack: ChargeDay, began: int, row: int) -> int:
    return min((each for each in pack.rows_of("hold_expired") if began <= each <= row), default=row)
