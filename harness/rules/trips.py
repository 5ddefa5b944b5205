"""Trips and releases of protection, judged from the readings and the stage alone.

Which causes have tripped is not reported. Where a dwell is within one interval of its end, a cause
may or may not have tripped, and a release is judged by whatever is the more lenient.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.rules.blame import break_blame, early_blame, late_blame
from harness.rules.held import TIME_SLACK_S, Held, Indices
from harness.rules.life import Episode, Life
from harness.rules.requirement import Marks, plain
from harness.run import Flags, Floats

CELL_TRIPS = "PROTECT.cell-trips"
CELL_HELD = "PROTECT.cell-held"
TEMPERATURE_TRIPS = "PROTECT.temperature-trips"
TEMPERATURE_HELD = "PROTECT.temperature-held"
NO_READING = "PROTECT.no-reading"
RELEASES = "PROTECT.releases"
RELEASE_HELD = "PROTECT.release-held"
TO_BULK = "PROTECT.to-bulk"


@frozen(eq=False)
class Cause:
    """One cause of protection on one life.

    Attributes:
        trips: the requirement to trip.
        held: the requirement not to trip too early.
        what: the cause in words.
        high: where its condition is true.
        stretches: where it holds without interruption, across stages.
        clear: where it is clear.
        over: how far each reading is beyond the limit; negative: short of it.
        unit: unit of `over`.
        near: how short of the limit a reading is still called near.
    """

    trips: str
    held: str
    what: str
    high: Flags
    stretches: Held
    clear: Flags
    over: Floats
    unit: str
    near: float


def causes_of(life: Life) -> list[Cause]:
    """The causes of protection for which there are readings, limits and a claim."""
    s = life.settings
    causes = []
    cell_v = life.reading("cell_max_v")
    if cell_v is not None and s.cell_limit_v is not None and "cell_protection" in life.claims:
        high = cell_v >= s.cell_limit_v
        causes.append(
            Cause(
                CELL_TRIPS,
                CELL_HELD,
                f"the highest cell at or above cell_limit_v ({s.cell_limit_v:g} V)",
                high,
                life.held(high),
                cell_v <= s.cell_release_v,
                (cell_v - s.cell_limit_v) * 1000.0,
                "mV",
                50.0,
            )
        )
    cold_c, hot_c = life.reading("temp_c"), life.reading("temp_max_c")
    if "temperature_protection" not in life.claims or (cold_c is None and hot_c is None):
        return causes
    if s.charge_min_c is None and s.charge_max_c is None:
        return causes
    nothing = np.full(len(life.t), np.nan)
    cold_c = nothing if cold_c is None else cold_c
    hot_c = cold_c if hot_c is None else np.where(np.isfinite(hot_c), hot_c, cold_c)
    low_c = -np.inf if s.charge_min_c is None else s.charge_min_c
    top_c = np.inf if s.charge_max_c is None else s.charge_max_c
    high = (cold_c < low_c) | (hot_c > top_c)
    clear = np.ones(len(life.t), np.bool_)
    if s.charge_min_c is not None:
        clear &= cold_c >= low_c + s.temp_band_c
    if s.charge_max_c is not None:
        clear &= hot_c <= top_c - s.temp_band_c
    causes.append(
        Cause(
            TEMPERATURE_TRIPS,
            TEMPERATURE_HELD,
            f"the temperature outside {low_c:g}..{top_c:g} degrees C",
            high,
            life.held(high),
            clear,
            np.fmax(low_c - cold_c, hot_c - top_c),
            "degrees C",
            3.0,
        )
    )
    return causes


def trips(life: Life, marks: Marks) -> None:
    """Judge every trip that came or should have come, and every release."""
    causes = causes_of(life)
    for cause in causes:
        _must_trip(life, cause, marks)
    _must_see(life, marks)
    for episode in life.of_stage(Stage.INHIBITED):
        if _entry(life, episode, causes, marks):
            _release(life, episode, causes, marks)


def _must_trip(life: Life, cause: Cause, marks: Marks) -> None:
    dwell_s = life.settings.trip_dwell_s
    held = cause.stretches
    marks.seen(cause.held, len(held.start))
    lasts_s = life.t[held.stop - 1] - life.t[held.start] if len(held.start) else np.empty(0)
    for j in np.flatnonzero(lasts_s >= dwell_s - TIME_SLACK_S).tolist():
        begin = int(held.start[j])
        due = held.due(begin, int(held.stop[j]) - 1, dwell_s)
        marks.seen(cause.trips)
        late = held.following(due, life.tolerance_s)
        if late < 0 or Stage(life.stage[late]) is Stage.INHIBITED:
            continue
        marks.broken(
            late_blame(life, cause.trips, begin, late, dwell_s),
            life,
            life.row_of(late),
            observed=Stage(life.stage[late]).word,
            expected=f"inhibited from t = {life.t[due]:g} s",
            margin=held.held_s(late) - dwell_s,
            unit="s",
            sentence=(
                f"protection did not trip: {cause.what} for {held.held_s(late):g} s, "
                f"{dwell_s:g} s are enough"
            ),
        )


def _blind_s(life: Life, row: int) -> float:
    """For how long there had been no valid reading at a row, s."""
    before = life.sample_at(row) - 1
    if before >= 0:
        return life.row_t(row) - float(life.t[before])
    stamped = np.flatnonzero(np.isfinite(life.trace.t[: row + 1]))
    return life.row_t(row) - life.row_t(int(stamped[0])) if len(stamped) else 0.0


def _must_see(life: Life, marks: Marks) -> None:
    """An invalid sample too long after the last valid one must find the charge stopped."""
    if life.valid_rows is None:
        return
    max_gap_s = life.settings.max_gap_s
    valid = np.zeros(len(life.row_stage), np.bool_)
    valid[life.valid_rows] = True
    told = -1
    previous_s = np.nan
    for row in np.flatnonzero(~valid & np.isfinite(life.trace.t)).tolist():
        group = life.sample_at(row)
        blind_s = _blind_s(life, row)
        step_s = blind_s - previous_s if group == told // 2 else blind_s
        previous_s = blind_s
        if told == 2 * group + 1:
            continue
        told = 2 * group
        if blind_s <= max_gap_s + TIME_SLACK_S:
            continue
        marks.seen(NO_READING)
        inhibited = Stage(life.row_stage[row]) is Stage.INHIBITED
        if inhibited or blind_s <= max_gap_s + max(step_s, 0.0) + life.tolerance_s:
            continue
        told = 2 * group + 1
        marks.broken(
            NO_READING,
            life,
            row,
            observed=Stage(life.row_stage[row]).word,
            expected="inhibited",
            margin=blind_s - max_gap_s,
            unit="s",
            sentence=(
                f"there had been no valid reading for {blind_s:g} s (max_gap_s {max_gap_s:g} s), "
                "the charge was not stopped"
            ),
        )


def _seen_again(life: Life, episode: Episode, longest_s: float) -> Indices:
    """The first valid samples behind rows at which readings had been missing for too long.

    `no_reading` joins there: it is not clear at the row itself, and its dwell begins behind it.
    Counted from the first sample of the episode.
    """
    if life.valid_rows is None:
        return np.empty(0, np.intp)
    first, behind = episode.rows
    valid = np.isin(np.arange(first, behind), life.valid_rows)
    again = [
        life.sample_at(row) - episode.start
        for row in (first + np.flatnonzero(~valid)).tolist()
        if np.isfinite(life.trace.t[row]) and _blind_s(life, row) > longest_s
    ]
    return np.array(again, np.intp)


def _unclaimed(life: Life) -> bool:
    """Whether a reading may have tripped that the controller does not claim to protect by."""
    read = set(life.trace.columns)
    return bool(
        ("cell_protection" not in life.claims and "cell_max_v" in read)
        or ("temperature_protection" not in life.claims and read & {"temp_c", "temp_max_c"})
    )


def _entry(life: Life, episode: Episode, causes: list[Cause], marks: Marks) -> bool:
    """Judge that inhibited was entered; false where nothing justifies it."""
    row, k = episode.rows[0], episode.start
    on_valid = k < len(life.t) and life.row_of(k) == row
    if not on_valid:
        marks.seen(NO_READING)
        blind_s = _blind_s(life, row)
        if blind_s > life.settings.max_gap_s - life.tolerance_s:
            return True
        marks.broken(
            NO_READING,
            life,
            row,
            observed="inhibited",
            expected="no change at an invalid sample",
            margin=life.settings.max_gap_s - blind_s,
            unit="s",
            sentence=f"an invalid sample stopped the charge {blind_s:g} s after the last valid one",
        )
        return False
    dwell_s = life.settings.trip_dwell_s - life.slack_s(k)
    if any(cause.stretches.held_s(k) >= dwell_s for cause in causes):
        return True
    reading = [cause for cause in causes if np.isfinite(cause.over[k])]
    now = [cause for cause in reading if cause.high[k]]
    near = [cause for cause in reading if cause.over[k] >= -cause.near]
    if _unclaimed(life) and not now and not near:
        return False
    candidates = now or near or reading or causes
    if not candidates:
        marks.broken(
            NO_READING,
            life,
            row,
            observed="inhibited",
            expected="no trip",
            sentence="the charge was stopped at a valid sample that gives no cause for it",
        )
        return False
    cause = candidates[0]
    if now:
        short_s = life.settings.trip_dwell_s - cause.stretches.held_s(k)
        marks.broken(
            early_blame(life, cause.held, cause.high, k, 0),
            life,
            row,
            observed="inhibited",
            expected=f"no trip before {life.settings.trip_dwell_s:g} s",
            margin=short_s,
            unit="s",
            sentence=f"protection tripped {short_s:g} s too early on {cause.what}",
        )
        return False
    short = -float(cause.over[k]) if np.isfinite(cause.over[k]) else 0.0
    marks.broken(
        cause.held,
        life,
        row,
        observed="inhibited",
        expected="no trip",
        margin=short,
        unit=cause.unit,
        sentence=f"protection tripped without {cause.what}; it was {plain(short)} {cause.unit} short of it",
    )
    return False


def _release(life: Life, episode: Episode, causes: list[Cause], marks: Marks) -> None:
    """Judge when inhibited was left, or was not."""
    s = life.settings
    first, last = episode.start, episode.last
    if last < first:
        return
    part = slice(first, last + 1)
    may, must = np.ones(last + 1 - first, np.bool_), np.ones(last + 1 - first, np.bool_)
    number = np.arange(first, last + 1)
    entered_on_valid = life.row_of(first) == episode.rows[0]
    for cause in causes:
        # From when on the cause has certainly tripped, and from when on it may have.
        due = cause.stretches.due(first, last, s.trip_dwell_s)
        certain = cause.stretches.following(due, life.tolerance_s) if due >= 0 else -1
        possible = cause.stretches.due(first, last, max(s.trip_dwell_s - life.slack_s(first), 0.0))
        if due > first:
            possible = min(possible, due - 1)
        tripped_it = cause.stretches.held_s(first) >= s.trip_dwell_s - life.slack_s(first)
        others = any(
            other.stretches.held_s(first) >= s.trip_dwell_s - life.slack_s(first)
            for other in causes
            if other is not cause
        )
        if entered_on_valid and tripped_it and not others:
            certain = first
        if certain >= 0:
            may &= cause.clear[part] | (number < certain)
        if possible >= 0:
            must &= cause.clear[part] | (number < possible)
    splits = life.breaks[(life.breaks > first) & (life.breaks <= last)] - first
    t = life.t[part]
    may_held, must_held = (
        Held.of(flags, t, np.union1d(splits, _seen_again(life, episode, longest_s)))
        for flags, longest_s in (
            (may, s.max_gap_s + life.tolerance_s + TIME_SLACK_S),
            (must, s.max_gap_s - life.tolerance_s),
        )
    )
    if episode.to is not None:
        marks.seen(TO_BULK)
    if episode.to not in (None, Stage.BULK):
        assert episode.to is not None
        marks.broken(
            TO_BULK,
            life,
            episode.rows[1],
            observed=f"inhibited -> {episode.to.word}",
            expected="inhibited -> bulk",
            sentence=f"protection let go into {episode.to.word}; it lets go into bulk",
        )
        return
    if episode.to is Stage.BULK and episode.left_on_valid:
        marks.seen(RELEASE_HELD)
        k = episode.stop - first
        held_s = may_held.held_s(k)
        if held_s < s.release_dwell_s - life.slack_s(episode.stop):
            clear = max(held_s, 0.0)
            false = np.flatnonzero(~may[: k + 1])
            begin = int(false[-1]) + 1 if len(false) else 0
            across = life.broken_at(first + begin + 1, first + k) if held_s >= 0 else -1
            marks.broken(
                RELEASE_HELD if across < 0 else break_blame(life, across),
                life,
                episode.rows[1],
                observed="inhibited -> bulk",
                expected=f"every tripped cause clear for {s.release_dwell_s:g} s",
                margin=s.release_dwell_s - clear,
                unit="s",
                sentence=(
                    f"protection let go too early: every tripped cause had been clear for {clear:g} s "
                    f"of the {s.release_dwell_s:g} s of release_dwell_s"
                ),
            )
    if _unclaimed(life):
        return
    for due in must_held.each_due(0, last - first, s.release_dwell_s):
        marks.seen(RELEASES)
        late = must_held.following(due, life.tolerance_s)
        if not 0 <= late < episode.stop - first:
            continue
        begin = int(must_held.start[must_held.at(due)])
        over_s = must_held.held_s(late) - s.release_dwell_s
        marks.broken(
            late_blame(life, RELEASES, first + begin, first + late, s.release_dwell_s),
            life,
            life.row_of(first + late),
            observed="inhibited",
            expected="bulk",
            margin=over_s,
            unit="s",
            sentence=(
                f"protection did not let go: every tripped cause had been clear for "
                f"{must_held.held_s(late):g} s, {s.release_dwell_s:g} s are enough"
            ),
        )
        break
