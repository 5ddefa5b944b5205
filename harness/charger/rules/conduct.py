"""Whom the charger heeds: every change of its state, and every one that should have been."""

from __future__ import annotations

from math import isfinite

from ctrl.charger import Conduct
from harness.charger.rules import names
from harness.charger.rules.life import SLACK_A, SLACK_V, ChargerLife, Told, Turn
from harness.rules.requirement import Marks, plain

STOPPED, FALLBACK, FOLLOWING = Conduct.STOPPED, Conduct.FALLBACK, Conduct.FOLLOWING


def conduct(life: ChargerLife, marks: Marks) -> None:
    """Judge the state at each sample by the state before it and what is known."""
    judged = _Conduct(life, Told(life, marks))
    for turn in life.turns:
        judged.look(turn)


# What a charger may get wrong about time, and the requirement that it breaks by it.
_THEORIES = (
    ("restart", names.FORGETS),
    ("breaks", names.BREAK),
    ("by_clock", names.AGES),
    ("gullible", names.SILENCE),
    ("any", names.EVERY_PACK),
)


def _age(age_s: float) -> str:
    return f"is {plain(age_s)} s old" if isfinite(age_s) else "has never come"


class _Conduct:
    """The states of one life, one after the other."""

    def __init__(self, life: ChargerLife, told: Told) -> None:
        self.life = life
        self.settings = life.settings
        self.told = told
        self.followed = False
        # Time of fresh messages since the state was entered, interruptions left out.
        self.gathered_s = 0.0
        self.rows_in_state = 0
        self.born_s = life.known[0].t if life.known else 0.0

    def look(self, turn: Turn) -> None:
        """Judge one sample."""
        now = turn.now
        if turn.was is not FOLLOWING and now.perhaps_steady_s > 0.0:
            self.gathered_s += now.dt
        if turn.state is FOLLOWING:
            if turn.was is FOLLOWING:
                self._goes_on(turn)
            else:
                self._begins(turn)
        elif turn.was is FOLLOWING:
            self._leaves(turn)
        else:
            self._waits(turn)
        self.rows_in_state += 1
        if turn.state is not turn.was:
            self.gathered_s = 0.0
            self.rows_in_state = 0
        self.followed |= turn.state is FOLLOWING

    def _silent_for(self, turn: Turn) -> float:
        """By how much the oldest message is older than the charger may wait, s."""
        return turn.now.oldest_s - self.settings.silent_s - turn.now.slack_s

    def _goes_on(self, turn: Turn) -> None:
        now, s = turn.now, self.settings
        if not now.joined:
            self.told.seen(names.BREAK)
            self.told.broken(
                names.BREAK,
                turn.row,
                "following",
                "fallback",
                0.0,
                "",
                "it goes on following over a break in time",
            )
        late_s = now.oldest_s - s.stale_s - now.slack_s
        if late_s <= 0.0:
            return
        name = self._blamed(turn, s.stale_s + now.slack_s, names.FALLS_BACK)
        self.told.seen(name)
        self.told.broken(
            name,
            turn.row,
            "following",
            "fallback",
            late_s,
            "s",
            f"it still follows although the message of a pack {_age(now.oldest_s)}",
        )

    def _blamed(self, turn: Turn, limit_s: float, otherwise: str) -> str:
        """Why an old message may have been taken for a fresh one."""
        now = turn.now
        if now.by_clock_s <= limit_s:
            return names.AGES
        if now.gullible_s <= limit_s:
            return names.SILENCE
        if now.newest_s <= limit_s:
            return names.EVERY_PACK
        return otherwise

    def _begins(self, turn: Turn) -> None:
        now, s = turn.now, self.settings
        begins = turn.was is STOPPED and not self.followed
        waits = names.BEGIN_WAITS if begins else names.RECOVER_WAITS
        self.told.seen(waits)
        if self.life.after_power_cycle and begins:
            self.told.seen(names.FORGETS)
        if turn.was is STOPPED and begins:
            self.told.seen(names.BEGINS_STOPPED)
        needed_s = s.steady_s - now.slack_s
        if now.perhaps_steady_s >= max(needed_s, 0.0):
            if turn.was is not FOLLOWING:
                self.told.seen(names.BEGINS if begins else names.RECOVERS)
            return
        name = self._explained(turn, needed_s) or self._unexplained(turn, needed_s, waits)
        steady_s = max(now.perhaps_steady_s, 0.0)
        self.told.seen(name)
        self.told.broken(
            name,
            turn.row,
            f"following after {plain(steady_s)} s",
            f"not before {plain(s.steady_s)} s of steady messages",
            needed_s - steady_s,
            "s",
            f"it begins to follow when messages have been steady for {plain(steady_s)} s; "
            f"it must wait until they have been for {plain(s.steady_s)} s",
        )

    def _explained(self, turn: Turn, needed_s: float) -> str:
        """The one mistake by which it would begin just here; empty where there is none."""
        now = turn.now
        dwells = dict(now.other_steady_s)
        passed_s = 0.0 if turn.before is None else now.t - turn.before.t
        before = self.life.before_power_cycle
        if before is not None and before.known and now.perhaps_steady_s >= now.t - self.born_s:
            last = before.known[-1]
            if last.perhaps_steady_s >= 0.0:
                dwells["restart"] = now.t - last.t + last.perhaps_steady_s
        for theory, name in _THEORIES:
            dwell_s = dwells.get(theory, -1.0)
            # By this mistake it would have begun at an earlier sample, had it not been elsewhere.
            could_before = dwell_s - passed_s >= needed_s + now.slack_s
            if dwell_s >= max(needed_s, 0.0) and not (could_before and self.rows_in_state > 1):
                return name
        return ""

    def _unexplained(self, turn: Turn, needed_s: float, waits: str) -> str:
        now, limit_s = turn.now, self.settings.stale_s + turn.now.slack_s
        before = self.life.before_power_cycle
        if before is not None and before.state[-1] is FOLLOWING and now.first:
            return names.FORGETS
        if now.perhaps_steady_s < 0.0 and now.by_clock_s <= limit_s:
            return names.AGES
        if now.perhaps_steady_s < 0.0 and now.gullible_s <= limit_s:
            return names.SILENCE
        if now.perhaps_steady_s < 0.0 and now.newest_s <= limit_s:
            return names.EVERY_PACK
        return names.UNBROKEN if self.gathered_s >= needed_s > 0.0 else waits

    def _leaves(self, turn: Turn) -> None:
        """It no longer follows: there must be a reason, and the right state after it."""
        now, s = turn.now, self.settings
        sure_old = now.oldest_s > s.stale_s - now.slack_s
        if not now.joined:
            self.told.seen(names.BREAK)
        elif sure_old:
            self.told.seen(names.FALLS_BACK)
            self._show_blame(turn)
        if now.joined and not sure_old:
            first_nonsense = (
                turn.before is not None
                and all(turn.before.heard_now)
                and any(n and not h for n, h in zip(now.nonsense, now.heard_now, strict=True))
            )
            name = names.NONSENSE if first_nonsense else names.IN_ORDER
            self.told.broken(
                name,
                turn.row,
                turn.state.word,
                "following",
                0.0,
                "",
                f"it leaves following for {turn.state.word} although every pack is heard, "
                f"and the oldest message {_age(now.oldest_s)}",
            )
        elif turn.state is STOPPED:
            self._stopped(turn)
        elif self._silent_for(turn) > 0.0:
            self._not_stopped(turn)

    def _show_blame(self, turn: Turn) -> None:
        """Note which mistakes a charger could have made here, and did not."""
        now, limit_s = turn.now, self.settings.stale_s + turn.now.slack_s
        self.told.seen(names.IN_ORDER)
        if now.gullible_s <= limit_s < now.oldest_s + now.slack_s:
            self.told.seen(names.SILENCE)
        if now.newest_s <= limit_s and len(now.requests) > 1:
            self.told.seen(names.EVERY_PACK)
        if now.by_clock_s < now.oldest_s - now.slack_s:
            self.told.seen(names.AGES)

    def _stopped(self, turn: Turn) -> None:
        now, s = turn.now, self.settings
        self.told.seen(names.IN_ORDER)
        early_s = s.silent_s - now.slack_s - now.oldest_s
        if early_s > 0.0:
            self.told.broken(
                names.IN_ORDER,
                turn.row,
                "stopped",
                "fallback",
                early_s,
                "s",
                f"it stops although no pack has been silent for silent_s = {plain(s.silent_s)} s: "
                f"the oldest message {_age(now.oldest_s)}",
            )
        else:
            self.told.seen(names.STOPS)

    def _not_stopped(self, turn: Turn) -> None:
        late_s = self._silent_for(turn)
        limit_s = self.settings.silent_s + turn.now.slack_s
        name = self._blamed(turn, limit_s, names.STOPS)
        self.told.seen(name)
        self.told.broken(
            name,
            turn.row,
            turn.state.word,
            "stopped",
            late_s if isfinite(late_s) else 0.0,
            "s" if isfinite(late_s) else "",
            f"it has not stopped although a pack has been silent: its message "
            f"{_age(turn.now.oldest_s)}",
        )

    def _waits(self, turn: Turn) -> None:
        """It followed neither before nor after."""
        now, s = turn.now, self.settings
        begins = turn.was is STOPPED and not self.followed
        if turn.was is STOPPED and turn.state is FALLBACK:
            restarted = begins and self.life.after_power_cycle and now.first
            name = names.FORGETS if restarted else names.BEGINS_STOPPED
            self.told.broken(
                name,
                turn.row,
                "fallback",
                "stopped",
                0.0,
                "",
                "it goes from stopped to fallback; it must stay stopped until it may follow",
            )
            return
        if turn.was is FALLBACK and turn.state is STOPPED:
            self._stopped(turn)
            return
        if turn.was is FALLBACK and self._silent_for(turn) > 0.0:
            self._not_stopped(turn)
            return
        if now.first:
            self.told.seen(names.BEGINS_STOPPED)
            if self.life.after_power_cycle:
                self.told.seen(names.FORGETS)
        self._note_dwell(turn, begins)
        late_s = now.steady_s - s.steady_s - now.slack_s
        if now.steady_s >= 0.0 and late_s > 0.0:
            self.told.broken(
                names.BEGINS if begins else names.RECOVERS,
                turn.row,
                f"{turn.state.word} after {plain(now.steady_s)} s",
                f"following after {plain(s.steady_s)} s",
                late_s,
                "s",
                f"it is still {turn.state.word} although messages have been steady for "
                f"{plain(now.steady_s)} s",
            )

    def _note_dwell(self, turn: Turn, begins: bool) -> None:
        """Note what would have made it begin too early."""
        now, needed_s = turn.now, self.settings.steady_s
        if now.steady_s >= 0.0 and now.steady_s < needed_s - now.slack_s:
            if self.gathered_s >= needed_s:
                self.told.seen(names.UNBROKEN)
            if now.other_steady_s["breaks"] >= needed_s:
                self.told.seen(names.BREAK)
            self.told.seen(names.BEGIN_WAITS if begins else names.RECOVER_WAITS)
        elif now.perhaps_steady_s < 0.0:
            if now.other_steady_s["gullible"] >= needed_s:
                self.told.seen(names.SILENCE)
            if now.other_steady_s["any"] >= needed_s and len(now.requests) > 1:
                self.told.seen(names.EVERY_PACK)
            if now.other_steady_s["by_clock"] >= needed_s:
                self.told.seen(names.AGES)


def no_current(life: ChargerLife, marks: Marks) -> None:
    """Look whether a charger that has stopped gives no current."""
    told = Told(life, marks)
    followed = False
    for turn in life.turns:
        followed |= turn.state is FOLLOWING
        if turn.state is not STOPPED:
            continue
        begins = not followed
        name = names.STOPS if followed else names.BEGINS_STOPPED
        if begins and life.after_power_cycle:
            name = names.FORGETS
        told.seen(name)
        if not turn.limit_a <= SLACK_A:
            told.broken(
                name,
                turn.row,
                f"{turn.limit_a:.3f} A while stopped",
                "0 A",
                turn.limit_a,
                "A",
                f"it is stopped and gives up to {turn.limit_a:.3f} A",
            )


def invalid(life: ChargerLife, marks: Marks) -> None:
    """Look at every sample without a stamp: it must change nothing."""
    told = Told(life, marks)
    valid = {now.row for now in life.known}
    for row in range(len(life.state)):
        if row in valid:
            continue
        told.seen(names.INVALID)
        was, was_v, was_a = life.before(row)
        state, set_v, limit_a = life.state[row], life.set_v[row], life.limit_a[row]
        if state is not was:
            told.broken(
                names.INVALID, row, state.word, was.word, 0.0, "",
                f"a sample without a stamp changes the state from {was.word} to {state.word}",
            )  # fmt: skip
        elif not abs(limit_a - was_a) <= SLACK_A:
            told.broken(
                names.INVALID, row, f"{limit_a:.3f} A", f"{was_a:.3f} A", abs(limit_a - was_a), "A",
                f"a sample without a stamp changes the limit from {was_a:.3f} A to {limit_a:.3f} A",
            )  # fmt: skip
        elif not (abs(set_v - was_v) <= SLACK_V or (row == 0 and set_v <= was_v)):
            told.broken(
                names.INVALID, row, f"{set_v:.4f} V", f"{was_v:.4f} V",
                abs(set_v - was_v) * 1000.0, "mV",
                f"a sample without a stamp changes the set-point from {was_v:.4f} V to {set_v:.4f} V",
            )  # fmt: skip
