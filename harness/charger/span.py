"""How far apart right chargers can be: ranges of base, compensation and limit in one state.

The requirements bound how each of them may move, and do not say by which law. `Span.moved` lets every
range go as far as they allow over one interval, whichever charger it is.
"""

from __future__ import annotations

from math import inf, isfinite

from attrs import evolve, frozen

from ctrl.charger import ChargerSettings, Conduct
from harness.charger.rules.heard import TIME_SLACK_S, Known, believable_a, believable_v
from harness.charger.rules.life import SLACK_A, SLACK_V
from harness.charger.rules.reach import AT_LIMIT_A, AT_LIMIT_SHARE, PATIENCE
from harness.charger.rules.voltage import SHARE_OF_IT, WATCHED_TIMES

STOPPED, FALLBACK, FOLLOWING = Conduct.STOPPED, Conduct.FALLBACK, Conduct.FOLLOWING


@frozen
class Reading:
    """What is known at a sample, and what the charger reads at its own terminals.

    Attributes:
        now: what is known.
        own_v: its own voltage, V.
        own_a: its own current, A.
        zero_is_due: whether a request of 0 A has stood for as long as it may take to obey it.
    """

    now: Known
    own_v: float
    own_a: float
    zero_is_due: bool


@frozen
class Watch:
    """A stretch over which the compensation is asked to move one way.

    Attributes:
        length_s: how long it is, s.
        start_v: the compensation at its start, of the charger that has done least, V.
        least_v: the least that was lacking, or too much, V.
        nearest_v: how far the compensation may get while still asked to move, V.
    """

    length_s: float = 0.0
    start_v: float = 0.0
    least_v: float = inf
    nearest_v: float = inf

    def joined(self, other: Watch, worse: float) -> Watch:
        """Both at once; `worse` is -1 where the lower start is the worse, else 1."""
        if not self.length_s or not other.length_s:
            return Watch()
        return Watch(
            min(self.length_s, other.length_s),
            worse * max(worse * self.start_v, worse * other.start_v),
            min(self.least_v, other.least_v),
            min(self.nearest_v, other.nearest_v),
        )


@frozen
class Risen:
    """What is at least reached by one that may wait, and rise late, but not for ever.

    Attributes:
        least: what is surely reached.
        due: what would be by one that rises all the time, as slowly as it may.
    """

    least: float
    due: float

    def lowered(self, aim: float) -> Risen:
        """No more than what is aimed at."""
        return Risen(min(self.least, aim), min(self.due, aim))

    def risen(self, aim: float, most: float) -> Risen:
        """After an interval over which a rise of `most` was allowed."""
        due = min(aim, max(self.least, self.due) + most / PATIENCE)
        return Risen(min(aim, max(self.least, aim - PATIENCE * (aim - due))), due)

    def joined(self, other: Risen) -> Risen:
        """The less of both."""
        return Risen(min(self.least, other.least), min(self.due, other.due))


@frozen
class Span:
    """The ranges in one state.

    Attributes:
        base: what the base is at least, V.
        base_top: what it is at most, V.
        low: what the compensation is at least, V.
        top: what it is at most, V.
        limit: what the limit is at least, A.
        most_a: what it is at most, A.
        up: the stretch over which the compensation is asked to rise.
        down: the same for a fall.
    """

    base: Risen
    base_top: float
    low: float = 0.0
    top: float = 0.0
    limit: Risen = Risen(0.0, 0.0)
    most_a: float = 0.0
    up: Watch = Watch()
    down: Watch = Watch()

    @classmethod
    def at_power_up(cls, settings: ChargerSettings) -> Span:
        """Before anything was heard."""
        return cls(Risen(settings.fallback_v, settings.fallback_v), settings.fallback_v)

    @property
    def least_v(self) -> float:
        """Lowest set-point, V."""
        return self.base.least + self.low

    @property
    def most_v(self) -> float:
        """Highest set-point, V."""
        return self.base_top + self.top

    def joined(self, other: Span) -> Span:
        """The hull of both."""
        return Span(
            self.base.joined(other.base),
            max(self.base_top, other.base_top),
            min(self.low, other.low),
            max(self.top, other.top),
            self.limit.joined(other.limit),
            max(self.most_a, other.most_a),
            self.up.joined(other.up, -1.0),
            self.down.joined(other.down, 1.0),
        )

    def moved(
        self, settings: ChargerSettings, was: Conduct, state: Conduct, reading: Reading
    ) -> Span:
        """The ranges after a sample that leads from one state to another."""
        s, now = settings, reading.now
        follows_on = was is state is FOLLOWING
        most_a = self._most_a(s, state, follows_on, reading)
        if state is not FOLLOWING:
            aim_v = min(now.asked_v, s.fallback_v)
            return Span(
                self.base.lowered(aim_v),
                min(self.base_top, aim_v),
                min(self.low, 0.0),
                min(self.top, 0.0),
                most_a=most_a,
            )
        aim_v, aim_a = min(now.asked_v, s.highest_v), min(now.asked_a, s.highest_a)
        after = evolve(
            self,
            base_top=min(aim_v, self.base_top + s.raise_v_per_s * now.dt),
            most_a=most_a,
        )
        if not follows_on:
            # The premise: nobody begins from much lower than the rules say.
            start_v = min(aim_v, self.base.least - s.compensation_v)
            return evolve(
                after,
                base=Risen(start_v, start_v),
                low=min(self.low, 0.0),
                top=min(self.top, 0.0),
                limit=Risen(0.0, 0.0),
                up=Watch(),
                down=Watch(),
            )
        after = self._compensated(after, s, aim_v, reading)
        return evolve(
            after,
            base=self.base.risen(aim_v, s.raise_v_per_s * now.dt),
            limit=self.limit.risen(aim_a, s.raise_a_per_s * now.dt),
        )

    def _most_a(
        self, s: ChargerSettings, state: Conduct, follows_on: bool, reading: Reading
    ) -> float:
        now = reading.now
        waits = now.zero and not reading.zero_is_due
        if state is STOPPED:
            return 0.0
        if state is FALLBACK:
            return min(self.most_a, s.fallback_a, inf if waits else now.asked_a)
        if waits and follows_on:
            return self.most_a
        risen_a = self.most_a + s.raise_a_per_s * now.dt
        return min(risen_a, s.highest_a, inf if waits else now.asked_a)

    def _compensated(self, after: Span, s: ChargerSettings, aim_v: float, reading: Reading) -> Span:
        """With the compensation moved as far as it may be, and as far as it must."""
        now, own_v = reading.now, reading.own_v
        rate_v = s.compensation_v_per_s * now.dt
        # To give up what lies above the base is never too much.
        given_up = max(self.low - rate_v, 0.0) if self.low > 0.0 else self.low
        idle = evolve(after, low=given_up, up=Watch(), down=Watch())
        learns = (
            now.joined
            and now.dt > 0.0
            and self.most_a > SLACK_A
            and believable_v(s, own_v)
            and believable_a(s, reading.own_a)
            and all(map(isfinite, now.readings_v))
        )
        if not learns:
            return idle
        highest_v = max(now.readings_v)
        reach_v = s.regulation_v + SLACK_V
        if own_v - self.most_v > reach_v:
            return idle
        low, top, bound_v = given_up, self.top, s.compensation_v
        may_bound = reading.own_a >= _near_limit(self.most_a) + SLACK_A
        has_it = self.base_top - highest_v <= -s.sense_error_v - SLACK_V
        # Who holds a set-point above this is bounded by something else, and must not rise.
        holds_up_to = own_v + reach_v - self.base.least
        if not has_it and not may_bound and self.low <= holds_up_to:
            top = max(top, min(min(top, holds_up_to) + rate_v, bound_v))
        if self.base.least - highest_v < s.sense_error_v + SLACK_V:
            falls_from = max(low, own_v - reach_v - self.base_top)
            low = min(low, max(falls_from - rate_v, -bound_v))
        up, down = self._asked(s, aim_v, reading)
        if up.length_s >= WATCHED_TIMES * s.sense_time_s:
            level = up.start_v + _share(s, up, bound_v - up.start_v)
            low, up = (max(low, level) if level <= up.nearest_v else low), Watch()
        elif up.length_s:
            low = max(low, min(self.low, bound_v))
        if down.length_s >= WATCHED_TIMES * s.sense_time_s:
            level = down.start_v - _share(s, down, down.start_v + bound_v)
            top, down = (min(top, level) if -level <= down.nearest_v else top), Watch()
        return evolve(after, low=min(low, top), top=top, up=up, down=down)

    def _asked(self, s: ChargerSettings, aim_v: float, reading: Reading) -> tuple[Watch, Watch]:
        """The stretches over which the compensation is surely asked to rise, and to fall."""
        now, own_v = reading.now, reading.own_v
        if not all(map(isfinite, now.sure_readings_v)) or self.base.least < aim_v - 3 * SLACK_V:
            return Watch(), Watch()
        lacking_v = aim_v - max(now.sure_readings_v)
        error_v = s.sense_error_v + 2 * SLACK_V
        near_v = s.regulation_v - SLACK_V
        up, down = Watch(), Watch()
        if lacking_v > error_v and -near_v <= own_v - self.least_v <= near_v:
            near_a = _near_limit(self.limit.least) - SLACK_A
            if reading.own_a < near_a:
                up = _on(self.up, now.dt, self.low, lacking_v, own_v + near_v - aim_v)
        elif -lacking_v > error_v and own_v - self.most_v <= near_v:
            down = _on(self.down, now.dt, self.top, -lacking_v, aim_v + near_v - own_v)
        return up, down


def _on(watch: Watch, dt: float, start_v: float, lacking_v: float, nearest_v: float) -> Watch:
    """The stretch, one interval longer."""
    return Watch(
        watch.length_s + dt,
        watch.start_v if watch.length_s else start_v,
        min(watch.least_v, lacking_v),
        min(watch.nearest_v, nearest_v),
    )


def _share(s: ChargerSettings, watch: Watch, room_v: float) -> float:
    """What must have been made good over a stretch, V."""
    most_v = s.compensation_v_per_s * watch.length_s
    return SHARE_OF_IT * max(min(watch.least_v, most_v, room_v), 0.0)


def _near_limit(limit_a: float) -> float:
    """From which current on a limit bounds the charge, A."""
    return limit_a - max(AT_LIMIT_SHARE * limit_a, AT_LIMIT_A)


class Zero:
    """Since when a request of 0 A has stood."""

    def __init__(self, settings: ChargerSettings) -> None:
        """None so far."""
        self._since_s = inf
        self._zero_s = settings.zero_s

    def is_due(self, now: Known) -> bool:
        """Whether it must be obeyed at this sample; called once for each."""
        if not now.zero:
            self._since_s = inf
            return False
        if self._since_s == inf or now.back:
            self._since_s = now.t
        return now.t - self._since_s >= self._zero_s - TIME_SLACK_S
