"""Faults in what the charger is asked for, and in how temperature shifts voltages."""

from __future__ import annotations

from harness.zoo.fault import Fault

_IN_FLOAT = '"float": "float_v", '
_INHIBITED = ', "inhibited": "float_v"'
_CURRENT = 'current_a = 0.0 if self.stage == "inhibited" else self.settings["charge_current_a"]'
_ASKED = 'self._level(request.get(self.stage, "absorption_v")),'
_DEGREES = '* (counts_c - settings["reference_c"])'
_UNREAD = "if isnan(self.known_c):\n            return\n"
_KNOWN = "self.known_c, self.read_t = self.temp_c, self.t"

FAULTS = (
    Fault(
        name="request-float-in-bulk",
        requirement="REQUEST.voltage",
        title="asks for the float voltage in bulk",
        old=_IN_FLOAT,
        new=_IN_FLOAT + '"bulk": "float_v", ',
        why="A stage was added, and one list was forgotten.",
    ),
    Fault(
        name="request-absorption-in-float",
        requirement="REQUEST.voltage",
        title="asks for the absorption voltage in float",
        old=_IN_FLOAT,
        new="",
        why="The charger was thought to know about float by itself.",
    ),
    Fault(
        name="request-absorption-while-inhibited",
        requirement="REQUEST.voltage",
        title="asks for the absorption voltage while charging is inhibited",
        old=_INHIBITED,
        new="",
        why="With no current asked for, the voltage seemed not to matter.",
    ),
    Fault(
        name="request-fifty-millivolts-high",
        requirement="REQUEST.never-above",
        title="asks for 50 mV more than is set",
        old=_ASKED,
        new=_ASKED.replace("),", ") + 0.05,"),
        why="The drop of the wiring is added, though the charger may have remote sense.",
    ),
    Fault(
        name="request-follows-the-pack",
        requirement="REQUEST.never-above",
        title="asks for at least the voltage that the pack has",
        old=_ASKED,
        new=f"max({_ASKED} self.v),",
        why="The charger was to be kept from switching off.",
    ),
    Fault(
        name="current-asked-while-inhibited",
        requirement="REQUEST.current",
        title="asks for current while charging is inhibited",
        old=_CURRENT,
        new='current_a = self.settings["charge_current_a"]',
        why="The voltage asked for was thought to be enough.",
    ),
    Fault(
        name="no-current-in-float",
        requirement="REQUEST.current",
        title="asks for no current in float",
        old=_CURRENT,
        new='charging = self.stage in ("bulk", "absorption")\n'
        '        current_a = self.settings["charge_current_a"] if charging else 0.0',
        why="A full pack needs no current; that the loads do was forgotten.",
    ),
    Fault(
        name="request-not-compensated",
        requirement="REQUEST.compensated",
        title="asks for the same voltage in any temperature",
        old=_ASKED,
        new='self.settings[request.get(self.stage, "absorption_v")],',
        why="The thresholds were compensated, and the request was forgotten.",
    ),
    Fault(
        name="compensation-sign-reversed",
        requirement="REQUEST.compensated",
        title="shifts voltages with temperature in the wrong direction",
        old=_DEGREES,
        new='* (settings["reference_c"] - counts_c)',
        why="The coefficient is written without its sign in most data sheets.",
    ),
    Fault(
        name="compensation-from-twenty-degrees",
        requirement="REQUEST.compensated",
        title="shifts voltages from 20 degrees whatever the reference is",
        old=_DEGREES,
        new="* (counts_c - 20.0)",
        why="Another maker's data sheet has another reference.",
    ),
    Fault(
        name="compensation-needs-a-reading",
        requirement="REQUEST.compensated",
        title="drops the shift at every sample without a temperature",
        old=_UNREAD,
        new="if isnan(self.temp_c):\n            self.shift_v = 0.0\n            return\n",
        why="The sensor answers less often than the meter.",
    ),
    Fault(
        name="compensation-before-any-reading",
        requirement="COMPENSATE.before-first",
        title="takes the temperature for zero until there is one",
        old=_UNREAD,
        new="if isnan(self.known_c):\n"
        '            self.shift_v = -settings["compensation_v_per_c"] * settings["reference_c"]\n'
        "            return\n",
        why="Memory is cleared to zero at power-up.",
    ),
    Fault(
        name="compensation-by-the-hottest",
        requirement="REQUEST.compensated",
        title="shifts voltages with the hottest reading",
        old=_KNOWN,
        new="self.known_c, self.read_t = self.hottest_c, self.t",
        why="The safest reading was chosen; the rules speak of the other.",
    ),
    Fault(
        name="entry-voltage-not-compensated",
        requirement="ENTRY.held-long-enough",
        title="compares with the same entry voltage in any temperature",
        old='return self.v >= self._level("entry_v")',
        new='return self.v >= settings["entry_v"]',
        why="One threshold was forgotten.",
    ),
    Fault(
        name="full-voltage-not-compensated",
        requirement="FULL.voltage",
        title="compares with the same full voltage in any temperature",
        old='return self.v >= self._level("full_v") and not',
        new='return self.v >= settings["full_v"] and not',
        why="One threshold was forgotten.",
    ),
    Fault(
        name="return-voltage-not-compensated",
        requirement="RETURN.low-voltage",
        title="compares with the same return voltage in any temperature",
        old='return self.v < self._level("return_v")',
        new='return self.v < settings["return_v"]',
        why="One threshold was forgotten.",
    ),
    Fault(
        name="sag-voltage-not-compensated",
        requirement="HOLD.sag-pauses",
        title="compares with the same sag voltage in any temperature",
        old='self.sagged = self.v < self._level("sag_v")',
        new='self.sagged = self.v < settings["sag_v"]',
        why="One threshold was forgotten.",
    ),
)
