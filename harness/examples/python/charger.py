"""An example charger that listens to the controllers of its packs and speaks the line protocol.

One JSON object a line comes in on standard input, one goes out on standard output; or the class is
attached as it is. It follows every rule for chargers of the project and needs only the standard
library. It is made to be read and to be tried on a test bench, not to charge a battery.

One step: (1) validity and continuity, (2) messages and readings, (3) the state, (4) compensation, by
what was in force over the interval, (5) base and limit, (6) the outputs. Ages are kept, not stamps:
so a clock that is set back makes no message younger. What is absent is NaN. Every comparison with
NaN is false, so each one below is written in the direction in which false is what the rules ask for.
"""

import json
import sys
from collections.abc import Mapping, Sequence
from math import inf, isfinite, isnan, nan
from typing import Any

SLACK = 1e-9  # seconds; times that are meant to be equal differ in their last digits
AT_LIMIT_SHARE, AT_LIMIT_A = 0.02, 0.1  # a current this near to its limit is bounded by it
SETTINGS = """
    packs highest_v highest_a stale_s silent_s steady_s fallback_v fallback_a compensation_v
    compensation_v_per_s sense_time_s regulation_v raise_v_per_s raise_a_per_s frozen_s max_gap_s
    plausible_v plausible_a"""
OUTPUTS = ("set_point_v", "limit_a", "state")

Said = Mapping[str, float | str | None]


class Pack:
    """What is remembered of one pack."""

    def __init__(self) -> None:
        self.request_v = self.request_a = inf  # in force: asked for by the last good message
        self.age_s = inf  # how old that message is
        self.pack_v = self.pack_a = nan  # the last believable reading
        self.unchanged_s = 0.0  # how long it has been the same
        self.reads = False  # the reading of this sample is good

    def hear(self, settings: Mapping[str, Any], said: Said, passed_s: float) -> None:
        """Take a message; one that is not good does exactly what silence does."""
        self.age_s += passed_s
        self.unchanged_s += passed_s
        self.reads = False
        low_v, high_v = settings["plausible_v"]
        most_a = settings["plausible_a"]
        request_v, request_a = _number(said, "request_v"), _number(said, "request_a")
        age_s = _number(said, "age_s")
        asks = low_v <= request_v <= high_v and 0 <= request_a <= most_a
        if not (asks and 0 <= age_s <= settings["stale_s"] + SLACK):
            return
        self.request_v, self.request_a = request_v, request_a
        self.age_s = min(self.age_s, age_s)
        pack_v, pack_a = _number(said, "pack_v"), _number(said, "pack_a")
        if not low_v <= pack_v <= high_v:
            return
        if not abs(pack_a) <= most_a:
            pack_a = self.pack_a  # a current that is absent is no sign of life
        if pack_v != self.pack_v or (pack_a != self.pack_a and not isnan(pack_a)):
            self.unchanged_s = 0.0
        self.pack_v, self.pack_a = pack_v, pack_a
        self.reads = self.unchanged_s < settings["frozen_s"] - SLACK


class Charger:
    """What charges the packs by their messages."""

    name, version, role = "example-charger-python", "1.0", "charger"

    def __init__(self, settings: Mapping[str, Any]) -> None:
        missing = [name for name in SETTINGS.split() if settings.get(name) is None]
        if missing:
            raise ValueError(f"missing settings: {missing}")
        self.settings = settings
        self.power_cycle()

    def power_cycle(self) -> None:
        """Forget everything."""
        self.state = "stopped"
        self.last_t = nan  # of the last valid sample
        self.steady_for_s = nan  # how long all packs have been fresh; NaN while one is not
        self.base_v = self.settings["fallback_v"]
        self.limit_a = self.compensation_v = 0.0
        self.packs = [Pack() for _ in range(self.settings["packs"])]

    def step(
        self, t: float | None, own_v: float | None, own_a: float | None, packs: Sequence[Said]
    ) -> dict[str, float | str]:
        """Take one sample, None for what is missing, and say what the charger does."""
        if t is not None and isfinite(t):
            self._valid(t, nan if own_v is None else own_v, nan if own_a is None else own_a, packs)
        return {"set_point_v": self._set_point_v(), "limit_a": self.limit_a, "state": self.state}

    def _valid(self, t: float, own_v: float, own_a: float, packs: Sequence[Said]) -> None:
        settings = self.settings
        dt, self.last_t = t - self.last_t, t
        joined = -SLACK <= dt <= settings["max_gap_s"] + SLACK
        passed_s = dt if dt > 0 else 0.0
        for pack, said in zip(self.packs, packs, strict=True):
            pack.hear(settings, said, passed_s)
        fresh = self._oldest_s() <= settings["stale_s"] + SLACK
        goes_on = joined and not isnan(self.steady_for_s)
        self.steady_for_s = nan if not fresh else self.steady_for_s + passed_s if goes_on else 0.0

        before, self.state = self.state, self._next_state(fresh, joined)
        if not joined:
            passed_s = 0.0  # nothing rises or is integrated over an interval that nobody saw
        if before == self.state == "following":
            self._compensate(own_v, own_a, passed_s)
        elif self.state != "following":
            self.compensation_v = min(self.compensation_v, 0.0)
        aim_v, aim_a = self._aim()
        self.base_v = min(aim_v, self.base_v + settings["raise_v_per_s"] * passed_s)
        self.limit_a = min(aim_a, self.limit_a + settings["raise_a_per_s"] * passed_s)
        # What highest_v does not let through is not stored up for later.
        self.compensation_v = min(self.compensation_v, settings["highest_v"] - self.base_v)

    def _oldest_s(self) -> float:
        return max(pack.age_s for pack in self.packs)

    def _next_state(self, fresh: bool, joined: bool) -> str:
        silent = self._oldest_s() > self.settings["silent_s"] + SLACK
        if self.state == "following":
            return "stopped" if silent else "following" if fresh and joined else "fallback"
        if self.state == "fallback" and silent:
            return "stopped"
        steady = self.steady_for_s >= self.settings["steady_s"] - SLACK
        return "following" if steady else self.state

    def _aim(self) -> tuple[float, float]:
        """Give base and limit as the state wants them."""
        settings = self.settings
        asked_v = min(pack.request_v for pack in self.packs)
        currents_a = [pack.request_a for pack in self.packs]
        # The charger cannot single out one pack of a bank: where one wants none, none is given.
        asked_a = sum(currents_a) if min(currents_a) > 0 else 0.0
        if self.state == "following":
            return min(asked_v, settings["highest_v"]), min(asked_a, settings["highest_a"])
        aim_v = min(asked_v, settings["fallback_v"], self.base_v)
        if self.state == "stopped":
            return aim_v, 0.0
        return aim_v, min(asked_a, settings["fallback_a"], self.limit_a)

    def _compensate(self, own_v: float, own_a: float, dt: float) -> None:
        """Make good what line and meters cost, while the readings say something about it."""
        settings = self.settings
        low_v, high_v = settings["plausible_v"]
        if not (low_v <= own_v <= high_v and abs(own_a) <= settings["plausible_a"]):
            return
        if self.limit_a <= 0 or not all(pack.reads for pack in self.packs):
            return
        above_v = own_v - self._set_point_v()
        if above_v > settings["regulation_v"]:
            return  # something else holds the bus up
        lacking_v = self.base_v - max(pack.pack_v for pack in self.packs)
        free_a = self.limit_a - max(AT_LIMIT_SHARE * self.limit_a, AT_LIMIT_A)
        if lacking_v > 0 and (above_v < -settings["regulation_v"] or own_a >= free_a):
            return
        most_v, bound_v = settings["compensation_v_per_s"] * dt, settings["compensation_v"]
        moved_v = _within(lacking_v * dt / settings["sense_time_s"], most_v)
        self.compensation_v = _within(self.compensation_v + moved_v, bound_v)

    def _set_point_v(self) -> float:
        return float(min(self.base_v + self.compensation_v, self.settings["highest_v"]))


def _number(said: Said, name: str) -> float:
    value = said.get(name)
    return value if isinstance(value, int | float) else nan


def _within(value: float, bound: float) -> float:
    return min(max(value, -bound), bound)


def _packs(columns: Sequence[str], row: Sequence[Any], count: int) -> list[Said]:
    """Sort the values of a row by the packs that their columns name: `request_v_1` and so on."""
    packs: list[dict[str, Any]] = [{} for _ in range(count)]
    for column, value in zip(columns, row, strict=True):
        name, _, number = column.rpartition("_")
        if number.isdecimal():
            packs[int(number) - 1][name] = value
    return list(packs)


def _answers(charger: Charger, message: Mapping[str, Any]) -> list[list[float | str]]:
    columns, rows = message["columns"], []
    for row in message["rows"]:
        own = dict(zip(columns, row, strict=True))
        packs = _packs(columns, row, len(charger.packs))
        rows.append(list(charger.step(own["t"], own["own_v"], own["own_a"], packs).values()))
    return rows


def main() -> None:
    """Answer every line with one line, until told to stop."""
    charger: Charger | None = None
    for line in sys.stdin.buffer:
        reply: dict[str, Any] = {"seq": -1}
        try:
            message = json.loads(line)
            reply["seq"], word = message["seq"], message["do"]
            if word == "stop":
                return
            if word == "hello":
                reply |= {"protocol": 1, "role": Charger.role, "name": Charger.name}
                reply |= {"version": Charger.version, "language": "Python"}
            elif word == "start":
                charger = None
                charger = Charger(message["settings"])
                reply["ok"] = True
            elif word == "run" and charger is not None:
                reply |= {"columns": OUTPUTS, "rows": _answers(charger, message)}
            elif word == "power_cycle" and charger is not None:
                charger.power_cycle()
                reply["ok"] = True
            else:
                raise ValueError(f"{word} is not known, or comes before an accepted start")
        except (KeyError, TypeError, ValueError, IndexError) as error:
            reply["error"] = f"refused: {error}"
        print(json.dumps(reply), flush=True)


if __name__ == "__main__":
    main()
