"""Faults in the start of the hold."""

from __future__ import annotations

from harness.zoo.fault import Fault

_DWELL = 'if self.stage == "bulk" and held >= settings["entry_dwell_s"] - SLACK:'
_LEVEL = 'return self.v >= self._level("entry_v")'
_HELD = 'held = self._held("stage", condition)'
_NEW_STAGE = "self.stage = stage\n"

FAULTS = (
    Fault(
        name="entry-at-first-touch",
        requirement="ENTRY.held-long-enough",
        title="starts the hold at the first touch of the entry voltage",
        old=_DWELL,
        new='if self.stage == "bulk" and held >= 0.0:',
        why="The dwell was left for later, and on the bench the voltage rose smoothly.",
    ),
    Fault(
        name="entry-dwell-two-seconds-short",
        requirement="ENTRY.held-long-enough",
        title="starts the hold two seconds before the entry dwell is over",
        old=_DWELL,
        new='if self.stage == "bulk" and held >= settings["entry_dwell_s"] - 2.0:',
        why="A debounce elsewhere already takes two seconds, so they were taken off here.",
    ),
    Fault(
        name="entry-dwell-survives-dips",
        requirement="ENTRY.held-long-enough",
        title="counts the entry dwell from the first touch, whatever comes between",
        old=_HELD,
        new='held = self._held("stage", condition or (self.stage == "bulk" and "stage" in self.since))',
        why="The timer is started by the first touch and nothing stops it.",
    ),
    Fault(
        name="entry-ten-millivolts-low",
        requirement="ENTRY.held-long-enough",
        title="accepts 10 mV less than the entry voltage",
        old=_LEVEL,
        new='return self.v >= self._level("entry_v") - 0.010',
        why="A hysteresis was added so that a flickering voltage would enter at last.",
    ),
    Fault(
        name="entry-two-millivolts-low",
        requirement="ENTRY.held-long-enough",
        title="accepts 2 mV less than the entry voltage",
        old=_LEVEL,
        new='return self.v >= self._level("entry_v") - 0.002',
        why="The setting is stored in steps of the converter, rounded down.",
    ),
    Fault(
        name="entry-ten-millivolts-high",
        requirement="ENTRY.not-late",
        title="asks for 10 mV more than the entry voltage",
        old=_LEVEL,
        new='return self.v >= self._level("entry_v") + 0.010',
        why="An offset of the meter is taken off twice.",
    ),
    Fault(
        name="entry-must-be-exceeded",
        requirement="ENTRY.not-late",
        title="does not start the hold at exactly the entry voltage",
        old=_LEVEL,
        new='return self.v > self._level("entry_v")',
        why="The comparison was written with > where >= was meant.",
    ),
    Fault(
        name="entry-at-absorption-voltage",
        requirement="ENTRY.not-late",
        title="starts the hold only at the voltage that it asks for",
        old=_LEVEL,
        new='return self.v >= self._level("absorption_v")',
        why="The pack is expected to read what the charger was asked for, without any loss between.",
    ),
    Fault(
        name="entry-dwell-doubled",
        requirement="ENTRY.not-late",
        title="waits twice the entry dwell",
        old=_DWELL,
        new='if self.stage == "bulk" and held >= 2.0 * settings["entry_dwell_s"] - SLACK:',
        why="The dwell is counted in ticks of half a second by one side and of a second by the other.",
    ),
    Fault(
        name="hold-resumed-from-float",
        requirement="ENTRY.from-bulk-only",
        title="goes from float straight into absorption while the voltage is high",
        old=_NEW_STAGE,
        new='high = self.v >= self._level("entry_v")\n'
        '        self.stage = "absorption" if self.stage == "float" and high else stage\n',
        why="The way through bulk looked like a useless second when the charger is still on.",
    ),
    Fault(
        name="hold-resumed-after-protection",
        requirement="PROTECT.to-bulk",
        title="goes from inhibited straight into absorption while the voltage is high",
        old=_NEW_STAGE,
        new='high = self.v >= self._level("entry_v")\n'
        '        self.stage = "absorption" if self.stage == "inhibited" and high else stage\n',
        why="After a trip the charge is meant to go on where it was.",
    ),
)
