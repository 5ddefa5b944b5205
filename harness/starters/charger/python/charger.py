"""A charger to start from: it hears the controllers of its packs.

It is attached as py:charger.py:Charger: see README.md. It follows what all packs together ask for
while every message is fresh, rises by the slopes that are set, and stops when a message is old.
Fallback, breaks in time and the compensation of the line are yours to write, where TODO stands.

For a test bench. Nothing here is safe to connect to a battery.
"""

from collections.abc import Mapping, Sequence
from math import inf
from typing import Any

SLACK_S = 1e-9  # times that are meant to be equal differ in their last digits


class Charger:
    """What charges the packs by their messages."""

    name, version, role = "my charger", "0.1", "charger"

    def __init__(self, settings: Mapping[str, Any]) -> None:
        """Begin afresh with these settings; refuse with ValueError."""
        self.settings = settings
        self.power_cycle()

    def power_cycle(self) -> None:
        """Forget everything."""
        self.state = "stopped"
        self.last_t: float | None = None  # of the last sample with a stamp
        self.fresh_since: float | None = None  # since when every message has been fresh
        self.base_v = self.settings["fallback_v"]
        self.limit_a = 0.0
        # What each pack asked for in its last good message, and the age of that message.
        self.asked = [(inf, inf)] * self.settings["packs"]
        self.age_s = [inf] * self.settings["packs"]

    def step(
        self,
        t: float | None,
        own_v: float | None,  # noqa: ARG002  for the compensation
        own_a: float | None,  # noqa: ARG002
        packs: Sequence[Mapping[str, Any]],
    ) -> dict[str, Any]:
        """One sample in, one answer out; a number that is missing is None."""
        if t is not None:
            passed_s = max(t - self.last_t, 0.0) if self.last_t is not None else 0.0
            # TODO: a gap, or a clock that is set back, is a break in time
            for place, said in enumerate(packs):
                self._hear(place, said, passed_s)
            self._decide(t, passed_s)
            self.last_t = t
        return {
            "set_point_v": self.base_v,  # TODO: compensation of the line
            "limit_a": self.limit_a,
            "state": self.state,
        }

    def _hear(self, place: int, said: Mapping[str, Any], passed_s: float) -> None:
        s = self.settings
        self.age_s[place] += passed_s
        voltage_v, current_a, age_s = said["request_v"], said["request_a"], said["age_s"]
        if voltage_v is None or current_a is None or age_s is None:
            return
        low_v, high_v = s["plausible_v"]
        believable = low_v <= voltage_v <= high_v and 0 <= current_a <= s["plausible_a"]
        # A message that is not good does exactly what silence does.
        if believable and 0 <= age_s <= s["stale_s"]:
            self.asked[place] = voltage_v, current_a
            self.age_s[place] = min(self.age_s[place], age_s)

    def _decide(self, t: float, passed_s: float) -> None:
        s = self.settings
        if max(self.age_s) > s["stale_s"] + SLACK_S:
            self.fresh_since = None
            self.state = "stopped"  # TODO: fallback, until a pack is silent
        else:
            self.fresh_since = t if self.fresh_since is None else self.fresh_since
            if t - self.fresh_since >= s["steady_s"] - SLACK_S:
                self.state = "following"
        if self.state != "following":
            self.limit_a, self.base_v = 0.0, min(self.base_v, s["fallback_v"])
            return
        # Packs share one voltage, so the lowest counts; where one asks for 0 A, none is given.
        currents_a = [current_a for _, current_a in self.asked]
        wanted_v = min(voltage_v for voltage_v, _ in self.asked)
        wanted_a = sum(currents_a) if min(currents_a) > 0 else 0.0
        # Down at once, up by the slope.
        risen_v = self.base_v + s["raise_v_per_s"] * passed_s
        risen_a = self.limit_a + s["raise_a_per_s"] * passed_s
        self.base_v = min(wanted_v, s["highest_v"], risen_v)
        self.limit_a = min(wanted_a, s["highest_a"], risen_a)
