"""The set-point: never more than what was heard justifies, and not less without a reason."""

from __future__ import annotations

from math import inf

from attrs import define

from ctrl.charger import Conduct
from harness.charger.rules import names
from harness.charger.rules.life import SLACK_V, ChargerLife, Told, Turn
from harness.charger.rules.reach import Reach, Room
from harness.rules.requirement import Marks

FOLLOWING = Conduct.FOLLOWING
# What must be compensated is watched for so many time constants, and so much of it must come.
WATCHED_TIMES = 2.0
SHARE_OF_IT = 0.25
# Which requirement is broken by a rise that is not justified.
_WHY = {
    "reading": names.READING,
    "frozen": names.FROZEN,
    "own": names.OWN,
    "no-current": names.IDLE,
    "held-up": names.IDLE,
    "bounded": names.IDLE,
    "direction": names.DIRECTION,
}


def set_point(life: ChargerLife, marks: Marks) -> None:
    """Judge every set-point by what base and compensation can be."""
    judged = _SetPoint(life, Told(life, marks))
    for turn in life.turns:
        judged.look(turn)


@define
class _Watch:
    """A stretch over which the compensation is asked to move."""

    length_s: float = 0.0
    start_v: float = 0.0
    least_v: float = 0.0


class _SetPoint:
    """The set-points of one life, one after the other."""

    def __init__(self, life: ChargerLife, told: Told) -> None:
        self.life = life
        self.settings = life.settings
        self.told = told
        self.reach = Reach.at_power_up(life.settings)
        self.up = _Watch()
        self.down = _Watch()
        self.reached = False
        self.followed = False
        # What was asked for when it last followed, V.
        self.left_v = inf
        # Whether the set-point before was not right: then it says nothing about this one.
        self.doubted = False

    def look(self, turn: Turn) -> None:
        """Judge one sample."""
        reach = self.reach
        room = reach.room(turn)
        before_v = reach.aim_v
        reach.move(turn, room)
        self._note(turn, room, before_v)
        self._highest(turn)
        top_v = reach.base_top + reach.top
        if not turn.set_v <= top_v + SLACK_V:
            self._too_high(turn, room, before_v, top_v)
            self._doubt(turn)
        elif turn.follows_on and not self._high_enough(turn, room, before_v):
            self._doubt(turn)
        else:
            self.doubted = False
        reach.take(turn.set_v)
        if reach.aim_v == before_v:
            self._watched(turn, room)
        else:
            # The set-point moves with what is asked for: that is no compensation.
            self.up.length_s = self.down.length_s = 0.0
        if turn.state is FOLLOWING:
            self.followed = True
            self.left_v = turn.now.asked_v
            self.reached |= turn.set_v >= reach.aim_v + min(reach.low, 0.0) - 3 * SLACK_V
            if reach.aim_v > before_v + SLACK_V:
                self.reached = False
        else:
            self.reached = False

    def _doubt(self, turn: Turn) -> None:
        self.reach.forget(turn.set_v)
        self.doubted = True
        self.reached = False

    def _highest(self, turn: Turn) -> None:
        s = self.settings
        self.told.seen(names.CEILING_HIGHEST)
        if not turn.set_v <= s.highest_v + SLACK_V:
            self._tell(turn, names.CEILING_HIGHEST, s.highest_v, "the highest that is set")

    def _note(self, turn: Turn, room: Room, before_v: float) -> None:
        """What is put to the test at this sample, whatever comes of it."""
        now, told, reach = turn.now, self.told, self.reach
        if turn.state is not FOLLOWING:
            if turn.state is Conduct.FALLBACK:
                told.seen(names.BOUNDS)
                told.seen(names.NO_RISE)
                if turn.before is not None and now.asked_v < turn.before.asked_v:
                    told.seen(names.OBEYS)
            return
        told.seen(names.CEILING_VOLTAGE)
        asked = [voltage_v for voltage_v, _ in now.requests]
        if len(asked) > 1 and max(asked) > min(asked):
            told.seen(names.LOWEST)
        if any(now.nonsense):
            told.seen(names.NONSENSE)
        if not turn.follows_on:
            return
        if reach.aim_v < before_v:
            told.seen(names.LOWERED)
        if reach.base_top < reach.aim_v or reach.aim_v > before_v:
            told.seen(names.SLOPE)
        if reach.is_due:
            told.seen(names.REACHES)
        told.seen(names.KEEPS)
        if room.up or room.down:
            told.seen(names.SENSE_BOUNDS)
        if room.why in _WHY and turn.was_a > 0.0:
            told.seen(_WHY[room.why])
        readings = now.readings_v
        if room.why == "direction" and min(readings) < reach.aim_v - self.settings.sense_error_v:
            told.seen(names.HIGHEST_READING)

    def _tell(self, turn: Turn, name: str, right_v: float, what: str) -> None:
        self.told.seen(name)
        over = turn.set_v > right_v
        self.told.broken(
            name,
            turn.row,
            f"{turn.set_v:.4f} V, {turn.state.word}",
            f"at {'most' if over else 'least'} {right_v:.4f} V",
            abs(turn.set_v - right_v) * 1000.0,
            "mV",
            f"the set-point is {turn.set_v:.4f} V, {'more' if over else 'less'} than "
            f"{right_v:.4f} V, {what}",
        )

    def _too_high(self, turn: Turn, room: Room, before_v: float, top_v: float) -> None:
        s, now = self.settings, turn.now
        if turn.set_v > s.highest_v + SLACK_V and top_v >= s.highest_v - SLACK_V:
            return
        if turn.state is not FOLLOWING:
            self._too_high_alone(turn, top_v)
            return
        bound_v = now.asked_v + s.compensation_v
        highest_v = max(voltage_v for voltage_v, _ in now.requests)
        creep_v = s.compensation_v_per_s * now.dt + SLACK_V
        over_v = turn.set_v - self.reach.aim_v - self.reach.top
        others = highest_v > now.asked_v and (over_v > creep_v or turn.set_v > bound_v + SLACK_V)
        lowered = self.reach.aim_v < before_v and turn.follows_on
        if any(now.nonsense) and now.worst[0] > now.asked_v and turn.set_v > turn.was_v + SLACK_V:
            name, what = names.NONSENSE, "which is all that sensible messages justify"
        elif turn.set_v > bound_v + SLACK_V or lowered:
            name = names.LOWERED if lowered else names.CEILING_VOLTAGE
            if others and not lowered:
                name = names.LOWEST
            what = "the lowest request with what may be compensated"
        elif now.first:
            name, what = self._at_first(), "with which a charger begins"
        elif not now.joined:
            name, what = names.BREAK, "where it was before a break in time"
        elif not turn.follows_on:
            name = names.SLOPE if self.reach.base_top < self.reach.aim_v else names.NO_RISE
            what = "which is all that the slope allows from where it was"
            if self.life.after_power_cycle and name == names.NO_RISE:
                name = names.FORGETS
        elif others and turn.set_v <= highest_v + s.compensation_v:
            name, what = names.LOWEST, "the lowest request with what may be compensated"
        elif not room.why or room.why == "time":
            rising = self.reach.base_top < self.reach.aim_v - SLACK_V
            name = names.SLOPE if rising else names.SENSE_BOUNDS
            what = "which is all that the bounds of its slopes allow"
        elif (
            self.reach.base_top < self.reach.aim_v - SLACK_V
            and turn.set_v - turn.was_v
            > (s.raise_v_per_s + s.compensation_v_per_s) * now.dt + SLACK_V
        ):
            name, what = names.SLOPE, "which is all that the slope allows"
        else:
            name, what = _WHY[room.why], f"{_BECAUSE[room.why]}"
            readings = now.readings_v
            if name == names.DIRECTION and min(readings) < self.reach.aim_v - s.sense_error_v:
                name = names.HIGHEST_READING
        self._tell(turn, name, top_v, what)

    def _at_first(self) -> str:
        return names.FORGETS if self.life.after_power_cycle else names.BEGINS_STOPPED

    def _too_high_alone(self, turn: Turn, top_v: float) -> None:
        """Too high while it does not follow."""
        s, now = self.settings, turn.now
        if now.first or (turn.state is Conduct.STOPPED and not self.followed):
            name, what = self._at_first(), "with which a charger begins"
        elif any(now.nonsense) and now.worst[0] > turn.was_v and turn.set_v > turn.was_v + SLACK_V:
            name, what = names.NONSENSE, "which is all that sensible messages justify"
        elif turn.set_v > s.fallback_v + SLACK_V:
            name, what = names.BOUNDS, "the most in fallback"
        elif turn.set_v > now.asked_v + SLACK_V and now.asked_v < self.left_v:
            name, what = names.OBEYS, "what the packs still ask for"
        else:
            name, what = names.NO_RISE, "what the base was before: nothing rises in fallback"
        self._tell(turn, name, top_v, what)

    def _high_enough(self, turn: Turn, room: Room, before_v: float) -> bool:
        """Whether it is no lower than it must be, as far as that is known."""
        s, now, reach = self.settings, turn.now, self.reach
        fallen_v = max(before_v - reach.aim_v, 0.0) + s.compensation_v_per_s * now.dt
        if turn.set_v < turn.was_v - fallen_v - SLACK_V and not self.doubted:
            name, what = names.KEEPS, "what it was, less what may be taken off"
            if room.down and reach.aim_v >= before_v:
                name = names.SENSE_BOUNDS
            if any(now.nonsense):
                name = names.NONSENSE
            self._tell(turn, name, turn.was_v - fallen_v, what)
            return False
        low_v = reach.aim_v + reach.low
        if (reach.is_due or reach.settled) and turn.set_v < low_v - 3 * SLACK_V:
            name, what = names.REACHES, "what the packs have asked for long enough"
            if turn.set_v < reach.aim_v - s.compensation_v - SLACK_V and self.reached:
                name, what = names.SENSE_BOUNDS, "the base less all that may be compensated"
            elif self.reached:
                bounded = room.why == "bounded"
                name = names.DIRECTION if bounded else _WHY.get(room.why, names.DIRECTION)
                what = "and nothing that it could read has asked for less"
            self._tell(turn, name, low_v, what)
            return False
        if reach.is_due:
            reach.has_reached()
        return True

    def _watched(self, turn: Turn, room: Room) -> None:
        """What is lacking for long must be compensated, law or no law, up to the bound."""
        s, reach = self.settings, self.reach
        top_v = min(reach.aim_v + s.compensation_v, s.highest_v)
        low_v = reach.aim_v - s.compensation_v
        up = room.up_asked and turn.set_v < top_v - 2 * SLACK_V
        down = room.down_asked and turn.set_v > low_v + 2 * SLACK_V
        self._watch(self.up, up, turn, room.lacking_v, top_v, names.SENSE_REACHES)
        self._watch(self.down, down, turn, -room.lacking_v, low_v, names.COMES_DOWN)

    def _watch(
        self, watch: _Watch, asked: bool, turn: Turn, lacking_v: float, bound_v: float, name: str
    ) -> None:
        s = self.settings
        if not asked:
            watch.length_s = 0.0
            return
        if watch.length_s == 0.0:
            watch.start_v, watch.least_v = turn.was_v, lacking_v
        watch.length_s += turn.now.dt
        watch.least_v = min(watch.least_v, lacking_v)
        if watch.length_s < WATCHED_TIMES * s.sense_time_s:
            return
        self.told.seen(name)
        most_v = s.compensation_v_per_s * watch.length_s
        share_v = SHARE_OF_IT * min(watch.least_v, most_v, abs(bound_v - watch.start_v))
        sign = 1.0 if name == names.SENSE_REACHES else -1.0
        moved_v = sign * (turn.set_v - watch.start_v)
        if moved_v < share_v:
            way = "rise" if sign > 0 else "fall"
            self.told.broken(
                name,
                turn.row,
                f"{moved_v * 1000.0:.1f} mV in {watch.length_s:.0f} s",
                f"at least {share_v * 1000.0:.1f} mV",
                (share_v - moved_v) * 1000.0,
                "mV",
                f"the packs have read at least {watch.least_v * 1000.0:.1f} mV too "
                f"{'little' if sign > 0 else 'much'} for {watch.length_s:.0f} s, and the set-point "
                f"does not {way} for it",
            )
        watch.length_s = 0.0


_BECAUSE = {
    "reading": "and the reading of a pack is not good, so nothing may rise for it",
    "frozen": "and the reading of a pack is frozen, so nothing may rise for it",
    "own": "and it cannot read its own terminals, so nothing may rise for it",
    "no-current": "and no current is allowed, so nothing may be compensated",
    "held-up": "and something else holds its terminals up, so nothing may be compensated",
    "bounded": "and the set-point is not what bounds the charge, so nothing may be compensated",
    "direction": "and the pack with the highest reading already has what was asked for",
}
