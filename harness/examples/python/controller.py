"""An example battery charge controller that speaks the line protocol.

One JSON object a line comes in on standard input, one goes out on standard output. It follows
every charge control rule of the project and needs only the standard library. It is made to be
read and to be tried on a test bench, not to charge a battery.

One step: (1) validity and continuity, (2) counting, then the empty rule, (3) protection: trips,
then release, (4) a discontinuity or else the rules of the stage, (5) the outputs. Counting comes
before what decides by its result; protection before the stages, as it may forbid what they do.
A limit that is none and a reading that is absent are both NaN. Every comparison with NaN is
false, so each one below is written in the direction in which false is what the rules ask for.
"""

import json
import sys
from collections.abc import Mapping
from math import isnan, nan
from typing import Any

SLACK = 1e-9  # seconds; times that are meant to be equal differ in their last digits
MAY_BE_NONE = """
    sag_v taper_a float_s return_soc empty_v cell_limit_v charge_min_c charge_max_c
    compensation_min_c compensation_max_c sensor_lost_s sensor_frozen_s sensor_jump_c
    equalisation_v equalisation_every_s equalisation_max_c"""
NEVER_NONE = """
    cells capacity_ah absorption_v entry_v entry_dwell_s hold_s on_sag full_v confirm_s
    on_unconfirmed wait_limit_s float_v return_v return_dwell_s charge_current_a charge_efficiency
    soc_ceiling empty_dwell_s cell_release_v temp_band_c trip_dwell_s release_dwell_s max_gap_s
    plausible_v plausible_i compensation_v_per_c reference_c equalisation_s equalisation_loss_s
    equalisation_retry_s"""
FEATURES = """
    soc full_reset requests float_timer return_voltage return_soc sag_pause sag_restart confirm
    taper wait empty_reset cell_protection temperature_protection compensation power_cycle
    equalisation compensation_limits sensor_checks"""
READINGS = ("t", "v", "i", "cell_max_v", "temp_c", "temp_max_c")
OUTPUTS = ("stage", "soc", "full_reset", "voltage_request_v", "current_request_a")


class Controller:
    """The charge controller of one pack."""

    name, version = "example-python", "1.0"
    features = tuple(FEATURES.split())

    def __init__(self, settings: Mapping[str, Any], soc: float) -> None:
        missing = [name for name in MAY_BE_NONE.split() if name not in settings]
        missing += [name for name in NEVER_NONE.split() if settings.get(name) is None]
        if missing or not 0 <= soc <= 1:
            raise ValueError(f"soc is {soc}, missing settings: {missing}")
        self.settings: dict[str, Any] = {k: nan if x is None else x for k, x in settings.items()}
        if settings["sag_v"] is None:
            self.settings["sag_v"] = settings["entry_v"]
        self.soc = float(soc)
        self.power_cycle()

    def power_cycle(self) -> None:
        """Forget everything but the state of charge."""
        self.stage = "bulk"
        self.emptied = False  # the empty reset has been made and the voltage not above since
        self.sagged = False  # the last valid sample was below sag_v
        self.tripped: set[str] = set()  # every cause that keeps charging inhibited
        self.since: dict[str, float] = {}  # where each condition that is true began to be true
        self.last_t = self.last_i = nan  # of valid samples
        self.known_c = self.read_t = self.changed_t = nan  # the temperature that is believed
        self.shift_v = 0.0
        self.requested = False  # an equalisation, and none has been completed since
        self.schedule_since = self.not_before = self.equalise_since = nan
        self.heard_t = nan  # the last valid sample, or else the first of any kind
        self.hold_since = self.float_since = nan  # where the timers began
        self.expired_t = nan  # where the confirm phase began; NaN outside it

    def request_equalisation(self) -> None:
        """Remember that somebody asked for an equalisation."""
        self.requested = True

    def step(
        self,
        t: float | None,
        v: float | None,
        i: float | None,
        cell_max_v: float | None = None,
        temp_c: float | None = None,
        temp_max_c: float | None = None,
    ) -> dict[str, Any]:
        """Take one sample and give the outputs after it."""
        given = (t, v, i, cell_max_v, temp_c, temp_max_c)
        readings = (nan if x is None or not abs(x) <= sys.float_info.max else x for x in given)
        self.t, self.v, self.i, self.cell_max_v, self.temp_c, self.hottest_c = readings
        if isnan(self.hottest_c):
            self.hottest_c = self.temp_c
        self.full_reset = False
        self._take()
        request = {"equalisation": "equalisation_v", "float": "float_v", "inhibited": "float_v"}
        current_a = 0.0 if self.stage == "inhibited" else self.settings["charge_current_a"]
        outputs = (
            self.stage,
            self.soc,
            self.full_reset,
            self._level(request.get(self.stage, "absorption_v")),
            current_a,
        )
        return dict(zip(OUTPUTS, outputs, strict=True))

    def _take(self) -> None:
        settings = self.settings
        if isnan(self.t):
            return  # without its time a sample cannot tell how long the silence has been
        if isnan(self.heard_t):
            self.heard_t = self.t
        (low_v, high_v), (low_a, high_a) = settings["plausible_v"], settings["plausible_i"]
        if not (low_v <= self.v <= high_v and low_a <= self.i <= high_a):
            if self.t - self.heard_t > settings["max_gap_s"] + SLACK:
                self._trip("no_reading")
            return
        dt = self.t - self.last_t
        continuous = -SLACK <= dt <= settings["max_gap_s"] + SLACK
        if not continuous:
            self.since.clear()
        if isnan(self.schedule_since):
            self.schedule_since = self.t
        if dt < -SLACK:  # what has elapsed stays what it was
            self.read_t += dt
            self.changed_t += dt
            self.schedule_since += dt
            self.not_before += dt
        self._sense()

        if continuous:
            self._count(max(dt, 0.0))
        if self.v > settings["empty_v"]:
            self.emptied = False
        held = self._held("empty", self.v <= settings["empty_v"])
        if held >= settings["empty_dwell_s"] - SLACK and not self.emptied:
            self.soc = 0.0
            self.emptied = True

        held = self._held("cell", self.cell_max_v >= settings["cell_limit_v"])
        if held >= settings["trip_dwell_s"] - SLACK:
            self._trip("cell_voltage")
        cold = self.temp_c < settings["charge_min_c"]
        hot = self.hottest_c > settings["charge_max_c"]
        if self._held("temperature", cold or hot) >= settings["trip_dwell_s"] - SLACK:
            self._trip("temperature")

        if dt < -SLACK:
            self.float_since = self.t
        if self.stage == "absorption" and not continuous:
            self._enter("bulk")  # nobody saw the gap, so the hold proves nothing
        elif self.stage == "equalisation":
            self._equalise(continuous)
        elif self.stage != "absorption" or self._hold_is_over(dt):
            self._follow_stage()
        self.sagged = self.v < self._level("sag_v")
        self.last_t, self.last_i, self.heard_t = self.t, self.i, self.t

    def _sense(self) -> None:
        """A sensor that is lost, or frozen, may lower the voltages and never raise them."""
        settings = self.settings
        if not isnan(self.temp_c) and not (
            abs(self.temp_c - self.known_c) > settings["sensor_jump_c"]
        ):
            if self.temp_c != self.known_c:
                self.changed_t = self.t
            self.known_c, self.read_t = self.temp_c, self.t
        if isnan(self.known_c):
            return
        # In this order a bound that is NaN is passed over.
        counts_c = max(self.known_c, settings["compensation_min_c"])
        counts_c = min(counts_c, settings["compensation_max_c"])
        self.shift_v = settings["compensation_v_per_c"] * (counts_c - settings["reference_c"])
        lost = self.t - self.read_t >= settings["sensor_lost_s"] - SLACK
        if lost or self.t - self.changed_t >= settings["sensor_frozen_s"] - SLACK:
            self.shift_v = min(self.shift_v, 0.0)

    def _cool(self) -> bool:
        most_c = self.settings["equalisation_max_c"]
        return isnan(most_c) or self.hottest_c <= most_c

    def _equalisation_is_due(self) -> bool:
        scheduled = self.t - self.schedule_since >= self.settings["equalisation_every_s"] - SLACK
        return (
            not isnan(self.settings["equalisation_v"])
            and (self.requested or scheduled)
            and not self.t < self.not_before
            and self.i > 0
            and self._cool()
        )

    def _equalise(self, continuous: bool) -> None:
        settings = self.settings
        warm = self._held("warm", not self._cool()) >= settings["trip_dwell_s"] - SLACK
        idle = self._held("idle", not self.i > 0) >= settings["equalisation_loss_s"] - SLACK
        if not continuous or warm or idle:
            self._put_off()  # it stays due
            self._enter("float")
        elif self.t - self.equalise_since >= settings["equalisation_s"] - SLACK:
            self.requested = False
            self.schedule_since, self.not_before = self.t, nan
            self._enter("float")

    def _put_off(self) -> None:
        self.not_before = self.t + self.settings["equalisation_retry_s"] - SLACK

    def _count(self, dt: float) -> None:
        mean_a = (self.last_i + self.i) / 2
        charging_a = max(mean_a, 0.0)
        if self.last_i * self.i < 0:  # the current crosses zero, only a triangle of it charges
            charging_a = max(self.last_i, self.i) ** 2 / abs(self.i - self.last_i) / 2
        counted_a = self.settings["charge_efficiency"] * charging_a + mean_a - charging_a
        soc = self.soc + counted_a * dt / (3600 * self.settings["capacity_ah"])
        if soc > self.soc:
            soc = min(soc, max(self.soc, self.settings["soc_ceiling"]))
        self.soc = max(soc, 0.0)

    def _hold_is_over(self, dt: float) -> bool:
        settings = self.settings
        if settings["on_sag"] == "pause" and self.sagged:
            self.hold_since += dt
        if settings["on_sag"] == "restart" and (self.sagged or self.v < self._level("sag_v")):
            self.hold_since = self.t
        if isnan(self.expired_t) and self.t - self.hold_since >= settings["hold_s"] - SLACK:
            self.expired_t = self.t
            self.since.pop("stage", None)  # the confirmation counts from its own first sample
        return not isnan(self.expired_t)

    def _follow_stage(self) -> None:
        settings = self.settings
        condition = self._stage_condition()
        held = self._held("stage", condition)
        if self.stage == "bulk" and held >= settings["entry_dwell_s"] - SLACK:
            self._enter("absorption")
        elif self.stage == "absorption" and held >= settings["confirm_s"] - SLACK:
            self.soc = 1.0
            self.full_reset = True
            self._enter("float")
        elif self.stage == "absorption" and settings["on_unconfirmed"] == "wait":
            if self.t - self.expired_t >= settings["wait_limit_s"] - SLACK:
                self._enter("float")
        elif self.stage == "absorption" and not condition:
            self._enter(str(settings["on_unconfirmed"]))
        elif self.stage == "float":
            low_voltage = held >= settings["return_dwell_s"] - SLACK
            low_soc = self.soc < settings["return_soc"]
            timer_over = self.t - self.float_since >= settings["float_s"] - SLACK
            if low_voltage or low_soc or timer_over:
                self._enter("bulk")
            elif self._equalisation_is_due():
                self._enter("equalisation")
        elif self.stage == "inhibited" and held >= settings["release_dwell_s"] - SLACK:
            self._enter("bulk")

    def _stage_condition(self) -> bool:
        settings = self.settings
        if self.stage == "bulk":
            return self.v >= self._level("entry_v")
        if self.stage == "absorption":
            return self.v >= self._level("full_v") and not abs(self.i) > settings["taper_a"]
        if self.stage == "float":
            return self.v < self._level("return_v")
        coldest_c = settings["charge_min_c"] + settings["temp_band_c"]
        hottest_c = settings["charge_max_c"] - settings["temp_band_c"]
        cell = self.cell_max_v <= settings["cell_release_v"] or "cell_voltage" not in self.tripped
        warm = isnan(coldest_c) or self.temp_c >= coldest_c
        cool = isnan(hottest_c) or self.hottest_c <= hottest_c
        return cell and ((warm and cool) or "temperature" not in self.tripped)

    def _trip(self, cause: str) -> None:
        if self.stage == "equalisation":
            self._put_off()
        self.stage = "inhibited"
        self.tripped.add(cause)
        self.since.pop("stage", None)  # what trips is not clear: no sample trips and releases

    def _enter(self, stage: str) -> None:
        self.stage = stage
        self.tripped.clear()
        self.hold_since = self.float_since = self.equalise_since = self.t
        self.expired_t = nan
        for name in ("stage", "warm", "idle"):
            self.since.pop(name, None)
        self._held("stage", self._stage_condition())  # the new dwell counts this sample already

    def _held(self, name: str, condition: bool) -> float:
        """Tell how long a condition has been true without a break; NaN where it is false."""
        if not condition:
            self.since.pop(name, None)
            return nan
        return self.t - self.since.setdefault(name, self.t)

    def _level(self, name: str) -> float:
        """Give a voltage setting as the temperature shifts it."""
        value: float = self.settings[name]
        return value + self.shift_v


def main() -> None:
    """Answer every line with one line, until told to stop."""
    controller: Controller | None = None
    for line in sys.stdin.buffer:
        reply: dict[str, Any] = {"seq": -1}
        try:
            message = json.loads(line)
            reply["seq"], word = message["seq"], message["do"]
            if word == "stop":
                return
            if word == "hello":
                reply |= {"protocol": 1, "name": Controller.name, "version": Controller.version}
                reply |= {"language": "Python", "features": Controller.features}
            elif word == "start":
                controller = None
                controller = Controller(message["settings"], message["soc"])
                reply["ok"] = True
            elif word == "run" and controller is not None:
                named = (dict(zip(message["columns"], row, strict=True)) for row in message["rows"])
                steps = (controller.step(*map(row.get, READINGS)) for row in named)
                reply |= {"columns": OUTPUTS, "rows": [list(step.values()) for step in steps]}
            elif word == "power_cycle" and controller is not None:
                controller.power_cycle()
                reply["ok"] = True
            elif word == "equalise" and controller is not None:
                controller.request_equalisation()
                reply["ok"] = True
            else:
                raise ValueError(f"{word} is not known, or comes before an accepted start")
        except (KeyError, TypeError, ValueError) as error:
            reply["error"] = f"refused: {error}"
        print(json.dumps(reply), flush=True)


if __name__ == "__main__":
    main()
