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
    near = life.least_level_v < s.return_v + life.either_way_v
    may = life.held(near, Stage.FLOAT)
    must = may
    if life.either_way_v > 0.0:
        must = life.held(life.most_level_v < s.return_v - life.either_way_v, Stage.FLOAT)
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
                sentence="float was left for absorption; it is left only for bulk or equalisation",
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


def _stepped_back(life: Life, episode: Episode, k: int) -> bool:
    back = life.back_steps
    return bool(np.any((back > episode.start) & (back <= k)))


def _short_blame(life: Life, episode: Episode, k: int) -> str:
    """The requirement that a float timer breaks which ended at sample `k`, too early."""
    if _stepped_back(life, episode, k):
        return BACK
    at_a_gap = life.broken_at(max(k - 1, episode.start + 1), k) >= 0
    return RUNS_ON if at_a_gap else FULL_LENGTH


def _long_blame(life: Life, episode: Episode, k: int, float_s: float) -> str:
    """The requirement that a float timer breaks which has not ended at sample `k`, as it should."""
    if _stepped_back(life, episode, k):
        return BACK
    gaps = life.breaks[(life.breaks > episode.start) & (life.breaks <= k)]
    # A gap is to blame only if a timer that began anew behind it would not be over yet.
    return RUNS_ON if len(gaps) and life.t[k] - life.t[gaps[-1]] < float_s else ENDS


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
    above_v = level_v - s.return_v
    # How far each reason was from being one, as a share; the nearest is what is said.
    reasons: list[tuple[float, str, float, str, str]] = []
    if held_s >= 0:
        short_s = s.return_dwell_s - held_s
        what = (
            f"the voltage had been below return_v ({s.return_v:g} V) for {held_s:g} s of the "
            f"{s.return_dwell_s:g} s of return_dwell_s"
        )
        blame = early_blame(life, VOLTAGE_HELD, dwell.near, k, episode.start)
        reasons.append((short_s / s.return_dwell_s, blame, short_s, "s", what))
    else:
        near = above_v / (NEAR_CELL_V * s.cells)
        what = f"the voltage was {plain(above_v * 1000.0)} mV above return_v ({s.return_v:g} V)"
        reasons.append((near, VOLTAGE_HELD, above_v * 1000.0, "mV", what))
    if soc is not None and s.return_soc is not None:
        over = soc - s.return_soc
        what = f"the state of charge was {soc:.6g}, not below return_soc ({s.return_soc:g})"
        reasons.append((over / NEAR_SOC, LOW_SOC, over, "SoC", what))
    if s.float_s is not None:
        short_s = s.float_s - elapsed_s
        what = f"the float timer showed {elapsed_s:g} s of {s.float_s:g} s"
        reasons.append((short_s / s.float_s, _short_blame(life, episode, k), short_s, "s", what))
    reasons.append((1.0, STAYS, 0.0, "", "no rule of float was met"))
    _, requirement, margin, unit, what = min(reasons, key=lambda reason: reason[0])
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
    for due in dwell.must.each_due(first, episode.last, s.return_dwell_s):
        marks.seen(LOW)
        late = dwell.must.following(due, life.tolerance_s)
        if 0 <= late <= last:
            over_s = dwell.must.held_s(late) - s.return_dwell_s
            begin = int(dwell.must.start[dwell.must.at(due)])
            what = (
                f"the voltage had been below return_v ({s.return_v:g} V) for "
                f"{dwell.must.held_s(late):g} s, {s.return_dwell_s:g} s are enough"
            )
            found.append(
                (late, late_blame(life, LOW, begin, late, s.return_dwell_s), over_s, "s", what)
            )
            break
    # The count comes before an equalisation, at the very sample on which one would start.
    seen = episode.last if episode.to is Stage.EQUALISATION else last
    if row_soc is not None and s.return_soc is not None and first <= seen:
        rows = (
            slice(first, seen + 1) if life.valid_rows is None else life.valid_rows[first : seen + 1]
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
        observed=Stage(life.stage[k]).word,
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
        marks.seen(_long_blame(life, episode, begin + due, float_s))
        later = np.flatnonzero(elapsed_s[due:] > elapsed_s[due] + life.tolerance_s)
        if len(later):
            k = due + int(later[0])
            blame = _long_blame(life, episode, begin + k, float_s)
            what = f"the float timer showed {elapsed_s[k]:g} s, float_s is {float_s:g} s"
            return [(begin + k, blame, float(elapsed_s[k] - float_s), "s", what)]
        return []
    if starts[-1] <= last and last + 1 < len(life.t) and episode.to is not None:
        # Left exactly when due: the timer was put to the test all the same.
        elapsed = float(life.t[last + 1] - life.t[starts[-1]])
        if elapsed >= float_s - TIME_SLACK_S:
            marks.seen(_long_blame(life, episode, last + 1, float_s))
    return []
