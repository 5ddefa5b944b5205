"""Controllers that differ from the example and keep the rules: none of them may raise a finding.

What they do otherwise is what the tolerances of the checks are there for.
"""

from __future__ import annotations

from functools import partial

from harness.zoo.fault import Fault

_Variant = partial(Fault, requirement="")

_MEAN = (
    "mean_a = (self.last_i + self.i) / 2\n"
    "        charging_a = max(mean_a, 0.0)\n"
    "        if self.last_i * self.i < 0:"
)
_READINGS = "self.t, self.v, self.i, self.cell_max_v, self.temp_c, self.hottest_c = readings\n"
_ASKED = 'self._level(request.get(self.stage, "absorption_v")),'
_SCHEDULED = (
    'scheduled = self.t - self.schedule_since >= self.settings["equalisation_every_s"] - SLACK\n'
)
_WAITED = """        return (
            not isnan(self.settings["equalisation_v"])
            and (self.requested or scheduled)
            and not self.t < self.not_before
"""
_OUTPUTS = """outputs = (
            self.stage,
            self.soc,
            self.full_reset,
            """
_CELLS = (
    '        held = self._held("cell", self.cell_max_v >= settings["cell_limit_v"])\n'
    '        if held >= settings["trip_dwell_s"] - SLACK:\n'
    '            self._trip("cell_voltage")\n'
)
_TEMPERATURES = (
    '        cold = self.temp_c < settings["charge_min_c"]\n'
    '        hot = self.hottest_c > settings["charge_max_c"]\n'
    '        if self._held("temperature", cold or hot) >= settings["trip_dwell_s"] - SLACK:\n'
    '            self._trip("temperature")\n'
)

VARIANTS: tuple[Fault, ...] = (
    _Variant(
        name="counts-by-the-sample-before",
        title="takes the current of the sample before for the whole interval",
        old=_MEAN,
        new="mean_a = self.last_i\n        charging_a = max(mean_a, 0.0)\n        if False:",
        why="A processor without time to spare counts by rectangles.",
    ),
    _Variant(
        name="counts-by-the-sample-itself",
        title="takes the current of the sample for the interval that it ends",
        old=_MEAN,
        new="mean_a = self.i\n        charging_a = max(mean_a, 0.0)\n        if False:",
        why="A processor without time to spare counts by rectangles.",
    ),
    _Variant(
        name="count-in-single-precision",
        title="keeps the count in single precision",
        old="self.soc = max(soc, 0.0)",
        new='single = memoryview(bytearray(4)).cast("f")\n'
        "        single[0] = max(soc, 0.0)\n"
        "        self.soc = single[0]",
        why="Many processors have hardware for single precision only.",
    ),
    _Variant(
        name="dwells-one-sample-late",
        title="sees that a dwell is over one sample late",
        old="return self.t - self.since.setdefault(name, self.t)",
        new="since = self.since.setdefault(name, self.t)\n"
        "        return min(self.t - since, max(0.0, self.last_t - since))",
        why="The timers are advanced after the decisions of a sample, not before.",
    ),
    _Variant(
        name="hold-one-sample-late",
        title="sees that the hold is over one sample late",
        old='if isnan(self.expired_t) and self.t - self.hold_since >= settings["hold_s"] - SLACK:',
        new='over = self.t - self.hold_since >= settings["hold_s"] - SLACK\n'
        '        before, self.over = getattr(self, "over", nan), self.float_since if over else nan\n'
        "        if isnan(self.expired_t) and before == self.float_since:",
        why="The timers are advanced after the decisions of a sample, not before.",
    ),
    _Variant(
        name="float-timer-one-sample-late",
        title="sees that the float timer is over one sample late",
        old='timer_over = self.t - self.float_since >= settings["float_s"] - SLACK',
        new='timer_over = min(self.t, self.last_t) - self.float_since >= settings["float_s"] - SLACK',
        why="The timers are advanced after the decisions of a sample, not before.",
    ),
    _Variant(
        name="wait-one-sample-late",
        title="sees that the wait is over one sample late",
        old='if self.t - self.expired_t >= settings["wait_limit_s"] - SLACK:',
        new='if self.last_t - self.expired_t >= settings["wait_limit_s"] - SLACK:',
        why="The timers are advanced after the decisions of a sample, not before.",
    ),
    _Variant(
        name="equalisation-one-sample-late",
        title="sees that an equalisation is over one sample late",
        old='elif self.t - self.equalise_since >= settings["equalisation_s"] - SLACK:',
        new='elif self.last_t - self.equalise_since >= settings["equalisation_s"] - SLACK:',
        why="The timers are advanced after the decisions of a sample, not before.",
    ),
    _Variant(
        name="equalisation-due-one-sample-late",
        title="sees that an equalisation is due by its schedule, or after its wait, one sample late",
        old=_SCHEDULED + _WAITED,
        new=_SCHEDULED.replace("self.t -", "self.last_t -")
        + _WAITED.replace("self.t <", "self.last_t <"),
        why="The timers are advanced after the decisions of a sample, not before.",
    ),
    _Variant(
        name="sensor-lost-one-sample-late",
        title="sees that a sensor is lost, or frozen, one sample late",
        old='lost = self.t - self.read_t >= settings["sensor_lost_s"] - SLACK\n'
        '        if lost or self.t - self.changed_t >= settings["sensor_frozen_s"] - SLACK:',
        new='lost = self.last_t - self.read_t >= settings["sensor_lost_s"] - SLACK\n'
        '        if lost or self.last_t - self.changed_t >= settings["sensor_frozen_s"] - SLACK:',
        why="The timers are advanced after the decisions of a sample, not before.",
    ),
    _Variant(
        name="readings-compensated",
        title="shifts the reading with temperature instead of the entry voltage",
        old='return self.v >= self._level("entry_v")',
        new='shift_v = self._level("entry_v") - settings["entry_v"]\n'
        '            return self.v - shift_v >= settings["entry_v"]',
        why="One subtraction serves all thresholds.",
    ),
    _Variant(
        name="request-to-the-millivolt",
        title="asks for voltages to the millivolt",
        old=_ASKED,
        new=f"round({_ASKED} 3),",
        why="The charger takes whole millivolts.",
    ),
    _Variant(
        name="claims-little",
        title="claims no more than the full reset and the count",
        old="features = tuple(FEATURES.split())",
        new='features = ("soc", "full_reset", "power_cycle")',
        why="Most controllers can do less than all of it.",
    ),
    _Variant(
        name="time-in-milliseconds",
        title="rounds time stamps to milliseconds",
        old=_READINGS,
        new=_READINGS + "        self.t = round(self.t, 3) if not isnan(self.t) else nan\n",
        why="The clock of the processor counts milliseconds.",
    ),
    _Variant(
        name="count-in-billionths",
        title="keeps the count as a whole number of billionths",
        old="self.soc = max(soc, 0.0)",
        new="self.soc = round(max(soc, 0.0) * 2**30) / 2**30",
        why="There is no hardware for floating point, and 32 bits are enough.",
    ),
    _Variant(
        name="request-in-single-precision",
        title="asks for voltages in single precision",
        old=_OUTPUTS + _ASKED,
        new='single = memoryview(bytearray(4)).cast("f")\n'
        f"        single[0] = {_ASKED[:-1]}\n"
        f"        {_OUTPUTS}single[0],",
        why="The message to the charger has four bytes for each number.",
    ),
    _Variant(
        name="temperature-before-cells",
        title="asks the temperature before the cells",
        old=_CELLS + _TEMPERATURES,
        new=_TEMPERATURES + _CELLS,
        why="The rules leave the order of the two causes free.",
    ),
    _Variant(
        name="message-in-pieces",
        title="works through a message in pieces of seven rows",
        old="steps = (controller.step(*map(row.get, READINGS)) for row in named)",
        new="every = list(named)\n"
        "                pieces = (every[k : k + 7] for k in range(0, len(every), 7))\n"
        "                steps = (controller.step(*map(r.get, READINGS)) for p in pieces for r in p)",
        why="The buffer between the tasks of the firmware holds seven rows.",
        in_messages=True,
    ),
)
