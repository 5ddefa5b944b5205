"""Faults in what the charger is asked for, and in how temperature shifts voltages."""

from __future__ import annotations

from harness.zoo.fault import Fault

_REQUEST = 'request = "absorption_v" if self.stage in ("bulk", "absorption") else "float_v"'
_CURRENT = 'current_a = 0.0 if self.stage == "inhibited" else self.settings["charge_current_a"]'
_OUTPUTS = "outputs = (self.stage, self.soc, self.full_reset, self._level(request), current_a)"
_DEGREES = 'degrees: float = self.last_temp_c - self.settings["reference_c"]'
_TEMPERATURE = "if not isnan(self.temp_c):\n            self.last_temp_c = self.temp_c"

FAULTS = (
    Fault(
        name="request-float-in-bulk",
        requirement="REQUEST.voltage",
        title="asks for the float voltage in bulk",
        old=_REQUEST,
        new='request = "absorption_v" if self.stage == "absorption" else "float_v"',
        why="A stage was added, and one list was forgotten.",
    ),
    Fault(
        name="request-absorption-in-float",
        requirement="REQUEST.voltage",
        title="asks for the absorption voltage in float",
        old=_REQUEST,
        new='request = "float_v" if self.stage == "inhibited" else "absorption_v"',
        why="The charger was thought to know about float by itself.",
    ),
    Fault(
        name="request-absorption-while-inhibited",
        requirement="REQUEST.voltage",
        title="asks for the absorption voltage while charging is inhibited",
        old=_REQUEST,
        new='request = "float_v" if self.stage == "float" else "absorption_v"',
        why="With no current asked for, the voltage seemed not to matter.",
    ),
    Fault(
        name="request-fifty-millivolts-high",
        requirement="REQUEST.never-above",
        title="asks for 50 mV more than is set",
        old=_OUTPUTS,
        new="volts = self._level(request) + 0.05\n"
        "        outputs = (self.stage, self.soc, self.full_reset, volts, current_a)",
        why="The drop of the wiring is added, though the charger may have remote sense.",
    ),
    Fault(
        name="request-follows-the-pack",
        requirement="REQUEST.never-above",
        title="asks for at least the voltage that the pack has",
        old=_OUTPUTS,
        new="volts = max(self._level(request), self.v)\n"
        "        outputs = (self.stage, self.soc, self.full_reset, volts, current_a)",
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
        old=_OUTPUTS,
        new="outputs = (self.stage, self.soc, self.full_reset, self.settings[request], current_a)",
        why="The thresholds were compensated, and the request was forgotten.",
    ),
    Fault(
        name="compensation-sign-reversed",
        requirement="REQUEST.compensated",
        title="shifts voltages with temperature in the wrong direction",
        old=_DEGREES,
        new='degrees: float = self.settings["reference_c"] - self.last_temp_c',
        why="The coefficient is written without its sign in most data sheets.",
    ),
    Fault(
        name="compensation-from-twenty-degrees",
        requirement="REQUEST.compensated",
        title="shifts voltages from 20 degrees whatever the reference is",
        old=_DEGREES,
        new="degrees: float = self.last_temp_c - 20.0",
        why="Another maker's data sheet has another reference.",
    ),
    Fault(
        name="compensation-needs-a-reading",
        requirement="REQUEST.compensated",
        title="drops the shift at every sample without a temperature",
        old=_TEMPERATURE,
        new="self.last_temp_c = self.temp_c",
        why="The sensor answers less often than the meter.",
    ),
    Fault(
        name="compensation-before-any-reading",
        requirement="REQUEST.compensated",
        title="takes the temperature for zero until there is one",
        old=_DEGREES,
        new='degrees: float = -self.settings["reference_c"]\n'
        "        if not isnan(self.last_temp_c):\n"
        "            degrees += self.last_temp_c",
        why="Memory is cleared to zero at power-up.",
    ),
    Fault(
        name="compensation-by-the-hottest",
        requirement="REQUEST.compensated",
        title="shifts voltages with the hottest reading",
        old=_TEMPERATURE,
        new="if not isnan(self.hottest_c):\n            self.last_temp_c = self.hottest_c",
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
