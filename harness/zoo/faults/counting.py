"""Faults in the state of charge."""

from __future__ import annotations

from harness.zoo.fault import Fault

_STARTS = "self.soc = float(soc)"
_MEAN = "mean_a = (self.last_i + self.i) / 2"
_COUNTED = 'counted_a = self.settings["charge_efficiency"] * charging_a + mean_a - charging_a'
_STEP = 'soc = self.soc + counted_a * dt / (3600 * self.settings["capacity_ah"])'
_CEILING = 'soc = min(soc, max(self.soc, self.settings["soc_ceiling"]))'
_FLOOR = "self.soc = max(soc, 0.0)"
_COUNTS = "self._count(max(dt, 0.0))"
_IS_EMPTY = 'if held >= settings["empty_dwell_s"] - SLACK and not self.emptied:'
_EMPTY_HELD = 'held = self._held("empty", self.v <= settings["empty_v"])'

FAULTS = (
    Fault(
        name="start-rounded-to-percent",
        requirement="SOC.starts",
        title="starts from the count rounded to a whole percent",
        old=_STARTS,
        new="self.soc = round(float(soc), 2)",
        why="The count is stored in one byte.",
    ),
    Fault(
        name="start-at-half",
        requirement="SOC.starts",
        title="starts at one half whatever the count was",
        old=_STARTS,
        new="self.soc = 0.5",
        why="The stored count is read after it has been used.",
    ),
    Fault(
        name="count-sign-reversed",
        requirement="SOC.counts",
        title="counts charge as discharge",
        old=_MEAN,
        new="mean_a = -(self.last_i + self.i) / 2",
        why="The sensor was mounted the other way round.",
    ),
    Fault(
        name="count-discharge-as-charge",
        requirement="SOC.counts",
        title="counts discharge as charge",
        old=_MEAN,
        new="mean_a = abs(self.last_i + self.i) / 2",
        why="The sign was taken off for the display, and the counter reads what the display shows.",
    ),
    Fault(
        name="count-with-built-in-capacity",
        requirement="SOC.counts",
        title="counts with a capacity of 100 Ah whatever is set",
        old=_STEP,
        new="soc = self.soc + counted_a * dt / (3600 * 100.0)",
        why="The capacity of the first prototype stayed in the code.",
    ),
    Fault(
        name="count-by-the-second",
        requirement="SOC.counts",
        title="counts every sample as one second",
        old=_COUNTS,
        new="self._count(1.0)",
        why="The sampling interval was one second when this was written.",
    ),
    Fault(
        name="count-one-percent-fast",
        requirement="SOC.counts",
        title="counts one percent too much",
        old=_STEP,
        new='soc = self.soc + 1.01 * counted_a * dt / (3600 * self.settings["capacity_ah"])',
        why="The shunt was calibrated at another temperature.",
    ),
    Fault(
        name="count-loses-small-steps",
        requirement="SOC.counts",
        title="loses what a sample adds: the count has only four decimals",
        old=_FLOOR,
        new="self.soc = round(max(soc, 0.0), 4)",
        why="The count is kept as a whole number of hundredths of a percent.",
    ),
    Fault(
        name="count-stops-in-float",
        requirement="SOC.counts",
        title="does not count in float",
        old=_COUNTS,
        new='self._count(0.0 if self.stage == "float" else max(dt, 0.0))',
        why="A pack in float is full, so there seemed to be nothing to count.",
    ),
    Fault(
        name="count-stops-while-inhibited",
        requirement="SOC.counts",
        title="does not count while charging is inhibited",
        old=_COUNTS,
        new='self._count(0.0 if self.stage == "inhibited" else max(dt, 0.0))',
        why="No current was expected to flow when none is asked for.",
    ),
    Fault(
        name="efficiency-on-discharge-too",
        requirement="SOC.efficiency",
        title="applies the charge efficiency to discharge as well",
        old=_COUNTED,
        new='counted_a = self.settings["charge_efficiency"] * mean_a',
        why="The factor stands outside the brackets.",
    ),
    Fault(
        name="efficiency-ignored",
        requirement="SOC.efficiency",
        title="counts all of the charging current",
        old=_COUNTED,
        new="counted_a = mean_a",
        why="The factor is near one, so nobody missed it.",
    ),
    Fault(
        name="efficiency-divides",
        requirement="SOC.efficiency",
        title="divides the charging current by the efficiency",
        old=_COUNTED,
        new='counted_a = charging_a / self.settings["charge_efficiency"] + mean_a - charging_a',
        why="The loss was put on the wrong side.",
    ),
    Fault(
        name="ceiling-ignored",
        requirement="SOC.ceiling",
        title="counts up to one without any proof",
        old=_CEILING,
        new="soc = min(soc, 1.0)",
        why="The ceiling came later than the counter.",
    ),
    Fault(
        name="ceiling-pulls-down",
        requirement="SOC.no-jump",
        title="pulls a full count down to the ceiling at the next charging sample",
        old=_CEILING,
        new='soc = min(soc, self.settings["soc_ceiling"])',
        why="The clamp does not ask how the count got above it.",
    ),
    Fault(
        name="ceiling-clamped-away",
        requirement="SOC.bounds",
        title="counts above one",
        old=_CEILING,
        new="soc = max(soc, self.soc)",
        why="A pack that takes more than its rating is meant to show it.",
    ),
    Fault(
        name="count-below-zero",
        requirement="SOC.bounds",
        title="counts below zero",
        old=_FLOOR,
        new="self.soc = soc",
        why="A pack that gives more than its rating is meant to show it.",
    ),
    Fault(
        name="count-falls-when-protected",
        requirement="SOC.no-jump",
        title="sets the count to a tenth when protection trips",
        old="self.tripped.add(cause)",
        new="self.soc = min(self.soc, 0.1)\n        self.tripped.add(cause)",
        why="The inverter was to be told to stop, and the count was the way to tell it.",
    ),
    Fault(
        name="empty-ignored",
        requirement="SOC.empty",
        title="does not set the count to zero at the empty voltage",
        old=_IS_EMPTY,
        new="if held > 1e9 and not self.emptied:",
        why="The counter was thought to know better.",
    ),
    Fault(
        name="empty-at-first-touch",
        requirement="SOC.empty",
        title="sets the count to zero at the first reading at the empty voltage",
        old=_IS_EMPTY,
        new="if held >= 0.0 and not self.emptied:",
        why="The dwell was left for later, and on the bench no motor was ever started.",
    ),
    Fault(
        name="empty-again-and-again",
        requirement="SOC.empty",
        title="keeps the count at zero as long as the voltage stays low",
        old=_IS_EMPTY,
        new='if held >= settings["empty_dwell_s"] - SLACK:',
        why="Nobody thought of a pack that is charged while it is still that low.",
    ),
    Fault(
        name="empty-must-be-undershot",
        requirement="SOC.empty",
        title="is not empty at exactly the empty voltage",
        old=_EMPTY_HELD,
        new='held = self._held("empty", self.v < settings["empty_v"])',
        why="The comparison was written with < where <= was meant.",
    ),
    Fault(
        name="empty-dwell-per-stage",
        requirement="SOC.empty",
        title="starts the empty dwell again at every change of stage",
        old="self.expired_t = nan\n        for name in (",
        new='self.expired_t = nan\n        for name in ("empty", ',
        why="All timers are set back when the stage changes.",
    ),
    Fault(
        name="count-drifts-at-rest",
        requirement="SOC.counts",
        title="loses half an ampere that does not flow",
        old=_MEAN,
        new="mean_a = (self.last_i + self.i) / 2 - 0.5",
        why="The current sensor has an offset that nobody takes off.",
    ),
)
