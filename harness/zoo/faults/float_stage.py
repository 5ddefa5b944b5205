"""Faults in float: what keeps it, and what ends it."""

from __future__ import annotations

from harness.zoo.fault import Fault

_ENDS = "if low_voltage or low_soc or timer_over:"
_LOW = 'low_voltage = held >= settings["return_dwell_s"] - SLACK'
_LOW_SOC = 'low_soc = self.soc < settings["return_soc"]'
_TIMER = 'timer_over = self.t - self.float_since >= settings["float_s"] - SLACK'
_LEVEL = 'return self.v < self._level("return_v")'
_STARTS = "self.hold_since = self.float_since = self.equalise_since = self.t\n"
_HELD = 'held = self._held("stage", condition)'
_NEW_STAGE = "self.stage = stage\n"

FAULTS = (
    Fault(
        name="float-left-at-high-voltage",
        requirement="FLOAT.stays",
        title="leaves float while the charger still holds the voltage",
        old=_ENDS,
        new='if low_voltage or low_soc or timer_over or self.v >= self._level("entry_v"):',
        why="A high voltage starts an absorption, and the stage was not asked.",
    ),
    Fault(
        name="no-return-soc-is-full",
        requirement="FLOAT.stays",
        title="returns to bulk at any count under one where no count is set",
        old=_LOW_SOC,
        new='low_soc = self.soc < (1.0 if isnan(settings["return_soc"]) else settings["return_soc"])',
        why="A setting that is none is stored as the greatest value.",
    ),
    Fault(
        name="no-float-timer-is-an-instant",
        requirement="FLOAT.stays",
        title="leaves float at once where no float timer is set",
        old=_TIMER,
        new='timer_over = not self.t - self.float_since < settings["float_s"] - SLACK',
        why="A setting that is none is stored as zero.",
    ),
    Fault(
        name="float-timer-counts-absorption",
        requirement="FLOAT.timer-full-length",
        title="counts the float timer from the start of the hold",
        old=_STARTS,
        new="self.hold_since = self.equalise_since = self.t\n"
        '        self.float_since = self.float_since if stage == "float" else self.t\n',
        why="One timer serves both stages, and nobody sets it back between them.",
    ),
    Fault(
        name="float-timer-ten-seconds-short",
        requirement="FLOAT.timer-full-length",
        title="ends float ten seconds early",
        old=_TIMER,
        new='timer_over = self.t - self.float_since >= settings["float_s"] - 10.0',
        why="The timer is stored in ticks that do not divide its length, rounded down.",
    ),
    Fault(
        name="float-timer-waits-for-low-voltage",
        requirement="FLOAT.timer-ends",
        title="does not end float by its timer while the voltage is held",
        old=_TIMER,
        new=_TIMER + '\n            timer_over = timer_over and self.v < self._level("float_v")',
        why="A charger that still holds the voltage is thought to have nothing more to do.",
    ),
    Fault(
        name="float-timer-wraps",
        requirement="FLOAT.timer-ends",
        title="never ends float: the timer wraps at 65.536 s",
        old=_TIMER,
        new='timer_over = (self.t - self.float_since) % 65.536 >= settings["float_s"] - SLACK',
        why="Milliseconds were kept in 16 bits.",
    ),
    Fault(
        name="low-voltage-ignored",
        requirement="RETURN.low-voltage",
        title="does not return to bulk at a low voltage",
        old=_LOW,
        new="low_voltage = False",
        why="The count was thought to be enough.",
    ),
    Fault(
        name="return-twenty-millivolts-low",
        requirement="RETURN.low-voltage",
        title="returns to bulk only 20 mV under the return voltage",
        old=_LEVEL,
        new='return self.v < self._level("return_v") - 0.020',
        why="A hysteresis was added so that a flickering voltage would not return.",
    ),
    Fault(
        name="return-dwell-tripled",
        requirement="RETURN.low-voltage",
        title="waits three times the return dwell",
        old=_LOW,
        new='low_voltage = held >= 3.0 * settings["return_dwell_s"] - SLACK',
        why="Three low readings were asked for, each of them sustained.",
    ),
    Fault(
        name="return-at-first-touch",
        requirement="RETURN.voltage-held",
        title="returns to bulk at the first low reading",
        old=_LOW,
        new="low_voltage = held >= 0.0",
        why="The dwell was left for later, and on the bench no motor was ever started.",
    ),
    Fault(
        name="return-dwell-survives-recovery",
        requirement="RETURN.voltage-held",
        title="does not start the return dwell again when the voltage recovers",
        old=_HELD,
        new='begun = self.stage == "float" and "stage" in self.since\n'
        '        held = self._held("stage", condition or begun)',
        why="The timer is started by the first low reading and nothing stops it.",
    ),
    Fault(
        name="return-twenty-millivolts-high",
        requirement="RETURN.voltage-held",
        title="returns to bulk 20 mV above the return voltage",
        old=_LEVEL,
        new='return self.v < self._level("return_v") + 0.020',
        why="An offset of the meter is taken off twice.",
    ),
    Fault(
        name="return-at-the-voltage-itself",
        requirement="RETURN.voltage-held",
        title="returns to bulk at exactly the return voltage",
        old=_LEVEL,
        new='return self.v <= self._level("return_v")',
        why="The comparison was written with <= where < was meant.",
    ),
    Fault(
        name="low-count-ignored",
        requirement="RETURN.low-soc",
        title="does not return to bulk at a low count",
        old=_LOW_SOC,
        new="low_soc = False",
        why="The voltage was thought to be enough.",
    ),
    Fault(
        name="low-count-five-percent-late",
        requirement="RETURN.low-soc",
        title="returns to bulk only five percent under the count that is set",
        old=_LOW_SOC,
        new='low_soc = self.soc < settings["return_soc"] - 0.05',
        why="The count is compared in steps of the display.",
    ),
    Fault(
        name="low-count-needs-low-voltage",
        requirement="RETURN.low-soc",
        title="returns to bulk only when count and voltage are both low",
        old=_ENDS,
        new="if low_voltage and low_soc or timer_over:",
        why="And was written where or was meant.",
    ),
    Fault(
        name="float-left-for-absorption",
        requirement="RETURN.to-bulk",
        title="goes from float to absorption instead of bulk",
        old=_NEW_STAGE,
        new='self.stage = "absorption" if self.stage == "float" else stage\n',
        why="The voltage asked for is the same, so the two stages looked like one.",
    ),
)
