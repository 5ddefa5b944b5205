"""The limit: never more than the packs ask for together, down at once, up by its slope."""

from __future__ import annotations

from math import inf, isfinite

from ctrl.charger import Conduct
from harness.charger.rules import names
from harness.charger.rules.heard import TIME_SLACK_S
from harness.charger.rules.life import SLACK_A, ChargerLife, Told, Turn
from harness.charger.rules.reach import PATIENCE
from harness.rules.requirement import Marks

FOLLOWING, FALLBACK = Conduct.FOLLOWING, Conduct.FALLBACK


def limit(life: ChargerLife, marks: Marks) -> None:
    """Judge every limit."""
    judged = _Limit(life, Told(life, marks))
    for turn in life.turns:
        judged.look(turn)


class _Limit:
    """The limits of one life, one after the other."""

    def __init__(self, life: ChargerLife, told: Told) -> None:
        self.life = life
        self.settings = life.settings
        self.told = told
        self.zero_since_s = inf
        self.aim_a = 0.0
        self.least_a = 0.0

    def look(self, turn: Turn) -> None:
        """Judge one sample."""
        now, s = turn.now, self.settings
        before_a, self.aim_a = self.aim_a, min(now.asked_a, s.highest_a)
        if not now.zero:
            self.zero_since_s = inf
        elif self.zero_since_s == inf or now.back:
            self.zero_since_s = now.t
        self._highest(turn)
        if turn.state is FOLLOWING:
            self._at_most_asked(turn, before_a)
            self._slope(turn)
            self._not_less(turn, before_a)
        elif turn.state is FALLBACK:
            self._in_fallback(turn)
        if turn.state is not FOLLOWING:
            self.least_a = 0.0

    def _tell(self, turn: Turn, name: str, right_a: float, what: str) -> None:
        self.told.seen(name)
        over = turn.limit_a > right_a
        self.told.broken(
            name,
            turn.row,
            f"{turn.limit_a:.3f} A, {turn.state.word}",
            f"at {'most' if over else 'least'} {right_a:.3f} A",
            abs(turn.limit_a - right_a),
            "A",
            f"the limit is {turn.limit_a:.3f} A, {'more' if over else 'less'} than "
            f"{right_a:.3f} A, {what}",
        )

    def _highest(self, turn: Turn) -> None:
        highest_a = self.settings.highest_a
        self.told.seen(names.CEILING_HIGHEST)
        if not turn.limit_a <= highest_a + SLACK_A:
            self._tell(turn, names.CEILING_HIGHEST, highest_a, "the highest that is set")

    def _zero_is_due(self, turn: Turn) -> bool:
        return turn.now.t - self.zero_since_s >= self.settings.zero_s - TIME_SLACK_S

    def _at_most_asked(self, turn: Turn, before_a: float) -> None:
        now = turn.now
        self.told.seen(names.CEILING_CURRENT)
        if now.zero:
            some = any(current_a > 0.0 for _, current_a in now.requests)
            name = names.ONE_ZERO if some else names.ZERO
            if not self._zero_is_due(turn):
                # Until then it may go on with what it gave, and not with more.
                if turn.follows_on and turn.limit_a > turn.was_a + SLACK_A:
                    self._tell(turn, name, turn.was_a, "and a pack asks for 0 A")
                return
            self.told.seen(name)
            if not turn.limit_a <= SLACK_A:
                self._tell(turn, self._doubted(turn, name), 0.0, "and a pack asks for 0 A")
            return
        fallen = turn.follows_on and self.aim_a < before_a
        if fallen:
            self.told.seen(names.LOWERED)
        if not turn.limit_a <= min(now.asked_a, self.settings.highest_a) + SLACK_A:
            if turn.limit_a > self.settings.highest_a + SLACK_A and not (
                turn.limit_a > now.asked_a + SLACK_A
            ):
                return
            name = names.LOWERED if fallen else names.CEILING_CURRENT
            what = "which is what the packs ask for together"
            self._tell(turn, self._doubted(turn, name), now.asked_a, what)

    def _doubted(self, turn: Turn, name: str) -> str:
        """Nonsense is to blame where it would justify what was done, and it came just now."""
        now = turn.now
        fresh = any(n and not h for n, h in zip(now.nonsense, now.heard_now, strict=True))
        return names.NONSENSE if fresh and now.worst[1] > 0.0 else name

    def _slope(self, turn: Turn) -> None:
        now, s = turn.now, self.settings
        if turn.limit_a < self.aim_a - SLACK_A or turn.limit_a > turn.was_a + SLACK_A:
            self.told.seen(names.SLOPE)
        right_a = turn.was_a + s.raise_a_per_s * now.dt
        if not turn.limit_a <= right_a + SLACK_A:
            if now.first:
                restarted = self.life.after_power_cycle
                name = names.FORGETS if restarted else names.BEGINS_STOPPED
                what = "with which a charger begins"
            elif not now.joined:
                name, what = names.BREAK, "where it was before a break in time"
            elif any(now.nonsense) and turn.limit_a > now.asked_a + SLACK_A:
                return
            else:
                name, what = names.SLOPE, "which is all that the slope allows"
            self._tell(turn, name, right_a, what)

    def _not_less(self, turn: Turn, before_a: float) -> None:
        """What is asked for is given, and is not taken away without a reason."""
        now, s = turn.now, self.settings
        if not turn.follows_on:
            self.least_a = min(turn.limit_a, self.aim_a)
            return
        if not now.joined:
            return
        self.told.seen(names.KEEPS)
        kept_a = min(turn.was_a, self.aim_a, before_a)
        if not turn.limit_a >= kept_a - SLACK_A:
            name = names.NONSENSE if any(now.nonsense) else names.KEEPS
            self._tell(turn, name, kept_a, "and the packs ask for no less")
        self.least_a = min(self.aim_a, self.least_a + s.raise_a_per_s * now.dt / PATIENCE)
        if self.least_a >= self.aim_a > 0.0:
            self.told.seen(names.REACHES)
            if not turn.limit_a >= self.aim_a - SLACK_A and turn.limit_a >= kept_a - SLACK_A:
                what = "what the packs have asked for long enough"
                self._tell(turn, names.REACHES, self.aim_a, what)

    def _in_fallback(self, turn: Turn) -> None:
        now, s = turn.now, self.settings
        self.told.seen(names.BOUNDS)
        if not turn.limit_a <= s.fallback_a + SLACK_A:
            self._tell(turn, names.BOUNDS, s.fallback_a, "the most in fallback")
            return
        self.told.seen(names.NO_RISE)
        if not turn.limit_a <= turn.was_a + SLACK_A:
            name = names.NO_RISE
            if any(now.nonsense) and now.worst[1] > now.asked_a:
                name = names.NONSENSE
            self._tell(turn, name, turn.was_a, "what it was before: nothing rises in fallback")
        asked_a = now.asked_a
        if not isfinite(asked_a) or asked_a >= s.fallback_a:
            return
        self.told.seen(names.OBEYS)
        due = not now.zero or self._zero_is_due(turn)
        if due and not turn.limit_a <= asked_a + SLACK_A:
            self._tell(turn, names.OBEYS, asked_a, "which is what the packs still ask for")
