"""What the base and the compensation of a charger can be, from what it has answered so far.

Theory of operation
-------------------

A charger reports one set-point. It is the sum of two numbers that nobody sees: the base, which
follows the requests, and the compensation of the line. The rules bound how each may move, and do not
say by which law. So both are kept as ranges. At each sample the ranges are moved by what the rules
allow at the most, and what the charger then answers must lie within them. After that its answer
makes the ranges narrower: what the base can be tells what the compensation must be, and the other
way round. A charger with another law of compensation, a gentler slope, or a lower set-point in
fallback stays within; one that gathers compensation while nothing can be learned leaves them by as
much as it gathered, however slowly.
"""

from __future__ import annotations

from math import inf, isfinite

from attrs import define, frozen

from ctrl.charger import ChargerSettings, Conduct
from harness.charger.rules.heard import believable_a, believable_v
from harness.charger.rules.life import SLACK_A, SLACK_V, Turn

# A charger may take so many times as long as the bounds of its slopes would let it.
PATIENCE = 10.0
AT_LIMIT_SHARE = 0.02
AT_LIMIT_A = 0.1


@frozen
class Room:
    """Which way the compensation may move over one interval.

    Attributes:
        up: whether it may rise.
        down: whether it may fall.
        why: why it may not rise: `reading`, `frozen`, `own`, `no-current`, `held-up`, `bounded`,
            `direction`, `time`; empty where it may.
        up_asked: whether it must rise in the end.
        down_asked: whether it must fall in the end.
        lacking_v: what is lacking by the highest reading, V; NaN where it is not known.
    """

    up: bool
    down: bool
    why: str
    up_asked: bool
    down_asked: bool
    lacking_v: float


@define
class Reach:
    """The ranges, V: base from `base_low` to `base_top`, compensation from `low` to `top`.

    Attributes:
        settings: the settings in force.
        base_low: what the base is at least; minus infinity where that is not known.
        base_top: what it is at most.
        low: what the compensation is at least.
        top: what it is at most.
        aim_v: what the base is to reach.
        due_v: what a charger that takes its time, though not for ever, must have reached.
    """

    settings: ChargerSettings
    base_low: float
    base_top: float
    low: float = 0.0
    top: float = 0.0
    aim_v: float = inf
    due_v: float = -inf

    @classmethod
    def at_power_up(cls, settings: ChargerSettings) -> Reach:
        """Before anything was heard: the base is at most `fallback_v`, and nothing is compensated."""
        return cls(settings, -inf, settings.fallback_v, aim_v=settings.fallback_v)

    @property
    def settled(self) -> bool:
        """Whether the base must be where the requests want it."""
        return self.base_low >= self.aim_v - 3 * SLACK_V

    def room(self, turn: Turn) -> Room:
        """Which way the compensation may move over the interval that ends here."""
        s, now = self.settings, turn.now
        if not (turn.follows_on and now.joined and now.dt > 0.0):
            return Room(False, False, "time", False, False, inf)
        why = ""
        if not turn.was_a > SLACK_A:
            why = "no-current"
        elif not (believable_v(s, turn.own_v) and believable_a(s, turn.own_a)):
            why = "own"
        elif not all(map(isfinite, now.readings_v)):
            why = "frozen" if now.frozen else "reading"
        if why:
            return Room(False, False, why, False, False, inf)
        highest_v = max(now.readings_v)
        above_v = turn.own_v - turn.was_v
        lacking_v = self.base_top - highest_v
        if above_v > s.regulation_v + SLACK_V:
            return Room(False, False, "held-up", False, False, lacking_v)
        near_limit_a = turn.was_a - max(AT_LIMIT_SHARE * turn.was_a, AT_LIMIT_A)
        holds = above_v >= -s.regulation_v - SLACK_V and turn.own_a < near_limit_a + SLACK_A
        down = self.base_low - highest_v < s.sense_error_v + SLACK_V
        if lacking_v <= -s.sense_error_v - SLACK_V:
            why = "direction"
        elif not holds:
            why = "bounded"
        surely = (
            all(map(isfinite, now.sure_readings_v))
            and self.settled
            and above_v <= s.regulation_v - SLACK_V
        )
        error_v = s.sense_error_v + 2 * SLACK_V
        surely_v = self.aim_v - highest_v
        holds_surely = above_v >= -s.regulation_v + SLACK_V and turn.own_a < near_limit_a - SLACK_A
        return Room(
            up=not why,
            down=down,
            why=why,
            up_asked=surely and holds_surely and surely_v > error_v,
            down_asked=surely and surely_v < -error_v,
            lacking_v=surely_v,
        )

    def move(self, turn: Turn, room: Room) -> None:
        """Let the ranges move by what is allowed over the interval that ends here."""
        s, now = self.settings, turn.now
        aim_v = min(now.asked_v, s.highest_v)
        most_v = s.compensation_v_per_s * now.dt
        if self.low > 0.0:
            # To give up what lies above the base is never too much.
            self.low = max(self.low - most_v, 0.0)
        if turn.state is Conduct.FOLLOWING:
            self.base_top = min(aim_v, self.base_top + s.raise_v_per_s * now.dt)
            self.base_low = min(aim_v, self.base_low)
            # Where it starts from is known; after that the clock runs, however it gets on.
            start_v = self.base_low if self.due_v == -inf or self.settled else self.due_v
            self.due_v = min(aim_v, start_v + s.raise_v_per_s * now.dt / PATIENCE)
            if room.up:
                self.top = min(self.top + most_v, s.compensation_v)
            if room.down:
                self.low = max(self.low - most_v, -s.compensation_v)
        else:
            aim_v = min(aim_v, s.fallback_v)
            self.base_top = min(self.base_top, aim_v)
            self.base_low = self.due_v = -inf
            self.top = min(self.top, 0.0)
            self.low = min(self.low, 0.0)
        if not turn.follows_on:
            self.top = min(self.top, 0.0)
            self.low = min(self.low, 0.0)
        self.low = min(self.low, max(s.highest_v - self.base_top, 0.0))
        self.aim_v = aim_v

    @property
    def is_due(self) -> bool:
        """Whether the base must have reached what is aimed at."""
        return self.due_v >= self.aim_v - SLACK_V

    def has_reached(self) -> None:
        """The base is where it must be by now."""
        self.base_low = max(self.base_low, self.aim_v)

    def forget(self, set_v: float) -> None:
        """A set-point that cannot be right says nothing but where what comes after it starts from."""
        self.base_low, self.base_top = -inf, max(self.aim_v, set_v)
        self.due_v = -inf
        self.top = self.settings.compensation_v
        self.low = -self.top

    def take(self, set_v: float) -> None:
        """Make the ranges narrower by the set-point that was answered, V."""
        top = min(self.top, set_v - self.base_low + SLACK_V)
        low = max(self.low, set_v - self.base_top - SLACK_V)
        self.base_low = max(self.base_low, min(set_v - self.top - SLACK_V, self.aim_v))
        self.base_top = min(self.base_top, set_v - self.low + SLACK_V)
        self.low, self.top = min(low, top), max(low, top)
