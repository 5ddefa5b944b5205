"""How every equalisation began and ended, or should have: judged for all of EQUALISE together."""

from __future__ import annotations

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.rules.due import Due, Past
from harness.rules.held import TIME_SLACK_S, Held
from harness.rules.life import Episode, Life
from harness.rules.requirement import Marks, plain
from harness.run import Flags

ALLOWED = "EQUALISE.allowed"
FROM_FLOAT = "EQUALISE.from-float"
DUE = "EQUALISE.due"
STARTS = "EQUALISE.starts"
COOL = "EQUALISE.cool"
CURRENT = "EQUALISE.current"
HEAT = "EQUALISE.heat"
LOSS = "EQUALISE.loss"
BREAK = "EQUALISE.break"
TIME = "EQUALISE.time"
WHOLE = "EQUALISE.whole"
AFTER = "EQUALISE.after"
RETRY = "EQUALISE.retry"
REMEMBERED = "EQUALISE.remembered"
# How an equalisation ended, as far as its signals tell.
_COMPLETED, _ABANDONED = 1, 2
_EITHER = _COMPLETED | _ABANDONED


def equalisations(life: Life, marks: Marks) -> None:
    """Follow every stretch of float and of equalisation to its end."""
    if life.settings.equalisation_v is None:
        _never(life, marks)
        return
    if not len(life.t):
        return
    cool, flows = _cool(life), life.i > 0.0
    due = Due(life)
    for episode in life.episodes:
        if episode.stage is Stage.FLOAT:
            _waits(life, episode, due, cool, flows, marks)
        elif episode.stage is Stage.EQUALISATION:
            _entry(life, episode, due, cool, flows, marks)
            ended = _course(life, episode, cool, flows, marks)
            due.pasts = _pasts(life, episode, due, ended)


def _never(life: Life, marks: Marks) -> None:
    for episode in life.of_stage(Stage.FLOAT):
        marks.seen(ALLOWED, episode.rows[1] > episode.rows[0])
    for episode in life.of_stage(Stage.EQUALISATION):
        marks.broken(
            ALLOWED,
            life,
            episode.rows[0],
            observed="equalisation",
            expected="no equalisation",
            sentence="an equalisation was started; without equalisation_v there is none",
        )


def _cool(life: Life) -> Flags:
    """Where the temperature is known to be within the bound, if there is one."""
    most_c = life.settings.equalisation_max_c
    if most_c is None:
        return np.ones(len(life.t), np.bool_)
    hottest_c = hottest(life)
    return np.zeros(len(life.t), np.bool_) if hottest_c is None else hottest_c <= most_c


def hottest(life: Life) -> np.ndarray[tuple[int], np.dtype[np.float64]] | None:
    """The hottest reading at each sample, NaN where it is absent; None without any sensor."""
    cold_c, hot_c = life.reading("temp_c"), life.reading("temp_max_c")
    if hot_c is None or cold_c is None:
        return cold_c if hot_c is None else hot_c
    return np.where(np.isfinite(hot_c), hot_c, cold_c)


def _warmth(life: Life, k: int) -> tuple[float, str]:
    """How far above the bound it is at sample `k`, degrees, and the same in words."""
    most_c = life.settings.equalisation_max_c
    hottest_c = hottest(life)
    if most_c is None or hottest_c is None or not np.isfinite(hottest_c[k]):
        return 0.0, "the temperature was not known"
    over_c = float(hottest_c[k]) - most_c
    return over_c, f"it was {hottest_c[k]:g} degrees C, equalisation_max_c is {most_c:g}"


def _waits(life: Life, episode: Episode, due: Due, cool: Flags, flows: Flags, marks: Marks) -> None:
    """Judge that none was started in a stretch of float, as long as it lasted."""
    # The sample on which float was entered cannot change the stage once more.
    first, last = episode.start + 1, episode.stop - 1
    if first > last:
        return
    able = cool[first : last + 1] & flows[first : last + 1]
    sure = np.arange(first, last + 1) >= due.surely_due_from()
    marks.seen(COOL, bool((sure & flows[first : last + 1] & ~cool[first : last + 1]).any()))
    marks.seen(CURRENT, bool((sure & cool[first : last + 1] & ~flows[first : last + 1]).any()))
    marks.seen(DUE, bool((able & ~sure).any()))
    held_back = np.flatnonzero(able & sure)
    marks.seen(RETRY, len(held_back) > 0 and due.surely_forbidden(first + int(held_back[0])))
    if life.after_power_cycle and life.asked_before:
        marks.seen(REMEMBERED, bool((able & ~sure).any()))
    overdue = np.flatnonzero(able & (np.arange(first, last + 1) >= due.must_start_from()))
    if not len(overdue):
        return
    k = first + int(overdue[0])
    by_request = due.requested(k)
    # A request that could not be followed at once had to be kept in mind.
    kept = by_request and all(due.asked_from(past) < k for past in due.pasts)
    over_s = 0.0 if by_request else min(due.scheduled_s(past, k) for past in due.pasts)
    every_s = life.settings.equalisation_every_s
    why = "by a request" if by_request else f"by equalisation_every_s ({every_s or 0.0:g} s)"
    marks.broken(
        REMEMBERED if kept else STARTS,
        life,
        life.row_of(k),
        observed="float",
        expected="equalisation",
        margin=max(over_s, 0.0) if np.isfinite(over_s) else 0.0,
        unit="s" if np.isfinite(over_s) and over_s > 0.0 else "",
        sentence=(
            f"no equalisation was started: it was due {why}, {life.i[k]:g} A flowed, and nothing "
            "forbade it"
        ),
    )


def _entry(life: Life, episode: Episode, due: Due, cool: Flags, flows: Flags, marks: Marks) -> None:
    """Judge that an equalisation was started."""
    row, k = episode.rows[0], episode.start
    marks.seen(FROM_FLOAT)

    def tell(
        requirement: str, expected: str, what: str, margin: float = 0.0, unit: str = ""
    ) -> None:
        marks.broken(
            requirement,
            life,
            row,
            observed=f"{before} -> equalisation",
            expected=expected,
            margin=margin,
            unit=unit,
            sentence=f"an equalisation was started {what}",
        )

    before = "power-up" if episode.came_from is None else episode.came_from.word
    if episode.came_from is not Stage.FLOAT:
        tell(FROM_FLOAT, before, f"from {before}; it is started only from float")
        return
    if k >= len(life.t) or life.row_of(k) != row:
        return
    marks.seen(DUE)
    marks.seen(STARTS)
    if not flows[k]:
        tell(CURRENT, "float", f"at {life.i[k]:g} A, without charging current", -life.i[k], "A")
    if not cool[k]:
        over_c, what = _warmth(life, k)
        tell(COOL, "float", f"in the warm: {what}", over_c, "degrees C" if over_c else "")
    possible = due.may_be_due(k)
    if not possible:
        # A request from before the loss of power is the only thing that can have asked for it.
        lost = life.after_power_cycle and life.asked_before
        in_s = -max(due.scheduled_s(past, k) for past in due.pasts)
        soon = np.isfinite(in_s)
        what = "that was not due: nobody had asked for it"
        if lost:
            what += " since the power was lost"
        if soon:
            what += f", and by equalisation_every_s it was due {plain(in_s)} s later"
        tell(REMEMBERED if lost else DUE, "float", what, in_s if soon else 0.0, "s" if soon else "")
        return
    if all(k > due.asked_from(past) for past in possible):
        marks.seen(REMEMBERED)
    able = [past for past in possible if due.wait_s(past, k) <= life.slack_s(k)]
    if able:
        due.pasts = tuple(able)
        return
    wait_s = min(due.wait_s(past, k) for past in possible)
    retry_s = life.settings.equalisation_retry_s
    what = f"{plain(wait_s)} s too early after one that was abandoned (retry after {retry_s:g} s)"
    tell(RETRY, "float", what, wait_s, "s")


@frozen(eq=False)
class _Part:
    """The samples of one equalisation that its rules see, up to the first break in time.

    Attributes:
        episode: the equalisation.
        stays: on how many of them it was reported.
        elapsed_s: its timer.
        warm: where it was too warm, or the temperature not known, without interruption.
        idle: where no charging current flowed.
        sure: the same two, from the sample behind the first on: the first was cool, with current.
    """

    episode: Episode
    stays: int
    elapsed_s: np.ndarray[tuple[int], np.dtype[np.float64]]
    warm: Held
    idle: Held
    sure: tuple[Held, Held]


def _part(life: Life, episode: Episode, last: int, cool: Flags, flows: Flags) -> _Part:
    part = slice(episode.start, last + 1)
    t, none = life.t[part], np.empty(0, np.intp)
    warm, idle = ~cool[part], ~flows[part]
    behind = np.arange(len(t)) > 0
    return _Part(
        episode,
        min(episode.stop - episode.start, len(t)),
        t - t[0],
        Held.of(warm, t, none),
        Held.of(idle, t, none),
        (Held.of(warm & behind, t, none), Held.of(idle & behind, t, none)),
    )


def _course(life: Life, episode: Episode, cool: Flags, flows: Flags, marks: Marks) -> int:
    """Judge an equalisation from its first sample on; returns how it may have ended."""
    start, last = episode.start, episode.last
    if episode.to is not None:
        marks.seen(AFTER)
    if episode.to not in (None, Stage.FLOAT, Stage.INHIBITED):
        assert episode.to is not None
        marks.broken(
            AFTER,
            life,
            episode.rows[1],
            observed=f"equalisation -> {episode.to.word}",
            expected="equalisation -> float",
            sentence=f"an equalisation led to {episode.to.word}; it leads to float",
        )
    if last < start:
        return _ABANDONED if episode.to is Stage.INHIBITED else _EITHER
    broken = life.broken_at(start + 1, last)
    if broken >= 0:
        marks.seen(BREAK)
    part = _part(life, episode, last if broken < 0 else broken - 1, cool, flows)
    if _overdue(life, part, marks):
        return _EITHER
    if broken >= 0:
        return _broken(life, broken, marks)
    if episode.to is Stage.INHIBITED:
        return _ABANDONED
    if episode.to is not Stage.FLOAT or not episode.left_on_valid:
        return _EITHER
    return _left(life, part, marks)


def _broken(life: Life, k: int, marks: Marks) -> int:
    if Stage(life.stage[k]) is not Stage.EQUALISATION:
        return _ABANDONED
    gap_s = float(life.t[k] - life.t[k - 1])
    what = f"a gap of {gap_s:g} s" if gap_s > 0 else f"a stamp {-gap_s:g} s back"
    marks.broken(
        BREAK,
        life,
        life.row_of(k),
        observed="equalisation",
        expected="equalisation -> float",
        margin=gap_s - life.settings.max_gap_s if gap_s > 0 else -gap_s,
        unit="s",
        sentence=f"{what} broke the equalisation; it was not abandoned",
    )
    return _EITHER


def _overdue(life: Life, part: _Part, marks: Marks) -> bool:
    """Whether an equalisation went on that should have ended; the earliest reason is told."""
    s, last = life.settings, len(part.elapsed_s) - 1
    found: list[tuple[int, str, float, str]] = []
    for requirement, held, dwell_s, what in (
        (HEAT, part.sure[0], s.trip_dwell_s, "it had been too warm, or the temperature unknown,"),
        (LOSS, part.sure[1], s.equalisation_loss_s, "no charging current had flowed"),
    ):
        for due in held.each_due(0, last, dwell_s):
            marks.seen(requirement)
            late = held.following(due, life.tolerance_s)
            if 0 <= late < part.stays:
                held_s = held.held_s(late)
                sentence = f"{what} for {held_s:g} s, {dwell_s:g} s are enough"
                found.append((late, requirement, held_s - dwell_s, sentence))
                break
    over = np.flatnonzero(part.elapsed_s >= s.equalisation_s - TIME_SLACK_S)
    if len(over):
        marks.seen(TIME)
        later = np.flatnonzero(part.elapsed_s > part.elapsed_s[over[0]] + life.tolerance_s)
        if len(later) and later[0] < part.stays:
            late = int(later[0])
            elapsed_s = float(part.elapsed_s[late])
            sentence = f"it had lasted {elapsed_s:g} s, equalisation_s is {s.equalisation_s:g} s"
            found.append((late, TIME, elapsed_s - s.equalisation_s, sentence))
    if not found:
        return False
    k, requirement, margin, sentence = min(found)
    marks.broken(
        requirement,
        life,
        life.row_of(part.episode.start + k),
        observed="equalisation",
        expected="float",
        margin=margin,
        unit="s",
        sentence=f"an equalisation was not ended: {sentence}",
    )
    return True


def _left(life: Life, part: _Part, marks: Marks) -> int:
    """Judge that an equalisation was left for float; returns how it may have ended."""
    s, episode = life.settings, part.episode
    k, slack_s = episode.stop - episode.start, life.slack_s(episode.stop)
    marks.seen(WHOLE)
    elapsed_s = float(part.elapsed_s[k])
    completed = elapsed_s >= s.equalisation_s - slack_s
    warm_s, idle_s = part.warm.held_s(k), part.idle.held_s(k)
    abandoned = warm_s >= s.trip_dwell_s - slack_s or idle_s >= s.equalisation_loss_s - slack_s
    if completed or abandoned:
        return (_COMPLETED if completed else 0) | (_ABANDONED if abandoned else 0)
    what = f"it had lasted {elapsed_s:g} s of the {s.equalisation_s:g} s of equalisation_s"
    if warm_s >= 0:
        what += f", and had been too warm for {warm_s:g} s of {s.trip_dwell_s:g} s"
    if idle_s >= 0:
        what += f", and had been without current for {idle_s:g} s of {s.equalisation_loss_s:g} s"
    marks.broken(
        WHOLE,
        life,
        episode.rows[1],
        observed="equalisation -> float",
        expected="equalisation",
        margin=s.equalisation_s - elapsed_s,
        unit="s",
        sentence=f"an equalisation was ended without a reason: {what}",
    )
    return _EITHER


def _pasts(life: Life, episode: Episode, due: Due, ended: int) -> tuple[Past, ...]:
    """Every past that there may be when an equalisation has ended."""
    if episode.to is None:
        return due.pasts
    k = min(episode.stop, len(life.t) - 1)
    clock_s = float(life.clock[k])
    if not episode.left_on_valid and episode.stop > 0:
        k = episode.stop - 1
        passed_s = life.row_t(episode.rows[1]) - float(life.t[k])
        clock_s = float(life.clock[k]) + max(passed_s if np.isfinite(passed_s) else 0.0, 0.0)
    pasts: dict[Past, None] = {}
    if ended & _COMPLETED:
        pasts |= dict.fromkeys(due.completed(k))
    if ended & _ABANDONED:
        pasts |= dict.fromkeys(due.abandoned(clock_s))
    return tuple(pasts)
