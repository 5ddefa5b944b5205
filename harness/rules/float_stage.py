"""FLOAT and RETURN: how long float lasts, and what ends it."""

from __future__ import annotations

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.rules.blame import early_blame, late_blame
from harness.rules.held import TIME_SLACK_S, Held
from harness.rules.life import Episode, Life
from harness.rules.requirement import Marks, plain

STAYS = "FLOAT.stays"
FULL_LENGTH = "FLOAT.timer-full-length"
ENDS = "FLOAT.timer-ends"
LOW = "RETURN.low-voltage"
VOLTAGE_HELD = "RETURN.voltage-held"
LOW_SOC = "RETURN.low-soc"
TO_BULK = "RETURN.to-bulk"
RUNS_ON = "TIME.float-timer-runs-on"
BACK = "TIME.backward-step"
# Of several reasons that an unjustified return may have had, the nearest is named.
NEAR_CELL_V = 0.01
NEAR_SOC = 0.02


@frozen(eq=False)
class Dwell:
    """The dwell of the low voltage: where it may be seen, where it certainly holds."""

    near: np.ndarray[tuple[int], np.dtype[np.bool_]]
    may: Held
    must: Held


def floats(life: Life, marks: Marks) -> None:
    """Follow every stretch of float to its end."""
    s = life.settings
    near = life.level_v < s.return_v + life.either_way_v
    may = life.held(near, Stage.FLOAT)
    must = may
    if life.either_way_v > 0.0:
        must = life.held(life.level_v < s.return_v - life.either_way_v, Stage.FLOAT)
    dwell = Dwell(near, may, must)
    for episode in life.of_stage(Stage.FLOAT):
        if episode.to is not None:
            marks.seen(TO_BULK)
        if episode.to is Stage.ABSORPTION:
            marks.broken(
                TO_BULK,
                life,
                episode.rows[1],
                observed="float -> absorption",
                expected="float -> bulk",
                sentence="float was left for absorption; it is left only for bulk",
            )
        elif episode.to is Stage.BULK:
            _left(life, episode, dwell, marks)
        elif episode.to is None:
            marks.seen(STAYS)
        _overdue(life, episode, dwell, marks)


def _timer_start(life: Life, episode: Episode, k: int) -> int:
    """The sample from which the float timer counts at sample `k`: entry, or the last step back."""
    back = life.back_steps
    j = int(np.searchsorted(back, k, side="right")) - 1
    return int(back[j]) if j >= 0 and back[j] > episode.start else episode.start


def _timer_blame(life: Life, episode: Episode, k: int, default: str) -> str:
    back = life.back_steps
    if np.any((back > episode.start) & (back <= k)):
        return BACK
    return RUNS_ON if life.broken_at(episode.start + 1, k) >= 0 else default


def _left(life: Life, episode: Episode, dwell: Dwell, marks: Marks) -> None:
    """Judge that float was left for bulk."""
    s, k, row = life.settings, episode.stop, episode.rows[1]
    marks.seen(STAYS)
    if not episode.left_on_valid or episode.start >= len(life.t):
        return
    slack_s = life.slack_s(k)
    level_v = float(life.level_v[k])
    held_s = dwell.may.held_s(k)
    if held_s >= 0:
        marks.seen(VOLTAGE_HELD)
    if held_s >= s.return_dwell_s - slack_s:
        return
    soc = None if life.row_soc is None else float(life.row_soc[row])
    if s.return_soc is not None and (soc is None or soc < s.return_soc):
        marks.seen(LOW_SOC)
        return
    elapsed_s = float(life.t[k] - life.t[_timer_start(life, episode, k)])
    if s.float_s is not None:
        marks.seen(FULL_LENGTH)
        if elapsed_s >= s.float_s - slack_s:
            return
    requirement, margin, unit = STAYS, 0.0, ""
    what = "no rule of float was met"
    above_v = level_v - s.return_v
    if held_s >= 0:
        requirement = early_blame(life, VOLTAGE_HELD, dwell.near, k, episode.start)
        margin, unit = s.return_dwell_s - held_s, "s"
        what = (
            f"the voltage had been below return_v ({s.return_v:g} V) for {held_s:g} s of the "
            f"{s.return_dwell_s:g} s of return_dwell_s"
        )
    elif above_v <= NEAR_CELL_V * s.cells:
        requirement, margin, unit = VOLTAGE_HELD, above_v * 1000.0, "mV"
        what = f"the voltage was {plain(margin)} mV above return_v ({s.return_v:g} V)"
    elif soc is not None and s.return_soc is not None and soc - s.return_soc < NEAR_SOC:
        requirement, margin, unit = LOW_SOC, soc - s.return_soc, "SoC"
        what = f"the state of charge was {soc:.6g}, not below return_soc ({s.return_soc:g})"
    elif s.float_s is not None:
        requirement = _timer_blame(life, episode, k, FULL_LENGTH)
        margin, unit = s.float_s - elapsed_s, "s"
        what = f"the float timer showed {elapsed_s:g} s of {s.float_s:g} s"
    marks.broken(
        requirement,
        life,
        row,
        observed="float -> bulk",
        expected="float",
        margin=margin,
        unit=unit,
        sentence=f"float was left without a reason: {what}",
    )


def _overdue(
    life: Life,
    episode: Episode,
    dwell: Dwell,
    marks: Marks,
) -> None:
    """Judge that float was not left when it should have been; the earliest is what is said."""
    s = life.settings
    row_soc = life.row_soc
    # The sample on which float was entered cannot change the stage once more.
    first, last = episode.start + 1, episode.stop - 1
    found: list[tuple[int, str, float, str, str]] = []
    due = dwell.must.due(first, episode.last, s.return_dwell_s)
    if due >= 0:
        marks.seen(LOW)
        late = dwell.must.following(due, life.tolerance_s)
        if 0 <= late <= last:
            over_s = dwell.must.held_s(late) - s.return_dwell_s
            begin = int(dwell.must.start[dwell.must.at(due)])
            what = (
                f"the voltage had been below return_v ({s.return_v:g} V) for "
                f"{dwell.must.held_s(late):g} s, {s.return_dwell_s:g} s are enough"
            )
            found.append((late, late_blame(life, LOW, begin, late), over_s, "s", what))
    if row_soc is not None and s.return_soc is not None and first <= last:
        rows = (
            slice(first, last + 1) if life.valid_rows is None else life.valid_rows[first : last + 1]
        )
        low = np.flatnonzero(row_soc[rows] < s.return_soc)
        if len(low):
            k = first + int(low[0])
            marks.seen(LOW_SOC)
            soc = float(row_soc[life.row_of(k)])
            what = f"the state of charge was {soc:.6g}, below return_soc ({s.return_soc:g})"
            found.append((k, LOW_SOC, s.return_soc - soc, "SoC", what))
    if s.float_s is not None and first <= last + 1:
        found += _timer_overdue(life, episode, last, marks)
    if not found:
        return
    k, requirement, margin, unit, what = min(found)
    marks.broken(
        requirement,
        life,
        life.row_of(k),
        observed="float",
        expected="bulk",
        margin=margin,
        unit=unit,
        sentence=f"float was not left: {what}",
    )


def _timer_overdue(
    life: Life, episode: Episode, last: int, marks: Marks
) -> list[tuple[int, str, float, str, str]]:
    float_s = life.settings.float_s
    assert float_s is not None
    back = life.back_steps
    starts = [episode.start, *back[(back > episode.start) & (back <= last)].tolist()]
    for begin, end in zip(starts, [*starts[1:], min(last, len(life.t) - 1) + 1], strict=True):
        elapsed_s = life.t[begin:end] - life.t[begin]
        over = np.flatnonzero(elapsed_s >= float_s - TIME_SLACK_S)
        if not len(over):
            continue
        due = int(over[0])
        marks.seen(_timer_blame(life, episode, begin + due, ENDS))
        later = np.flatnonzero(elapsed_s[due:] > elapsed_s[due] + life.tolerance_s)
        if len(later):
            k = due + int(later[0])
            blame = _timer_blame(life, episode, begin + k, ENDS)
            what = f"the float timer showed {elapsed_s[k]:g} s, float_s is {float_s:g} s"
            return [(begin + k, blame, float(elapsed_s[k] - float_s), "s", what)]
        return []
    if starts[-1] <= last and last + 1 < len(life.t) and episode.to is not None:
        # Left exactly when due: the timer was put to the test all the same.
        elapsed = float(life.t[last + 1] - life.t[starts[-1]])
        if elapsed >= float_s - TIME_SLACK_S:
            marks.seen(_timer_blame(life, episode, last + 1, ENDS))
    return []
