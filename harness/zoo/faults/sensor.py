"""Faults in what is made of a temperature sensor."""

from __future__ import annotations

from harness.zoo.fault import Fault

_UNKNOWN = "self.known_c = self.read_t = self.changed_t = nan"
_BEFORE = """if isnan(self.known_c):
            return
"""
_LOW = 'counts_c = max(self.known_c, settings["compensation_min_c"])'
_HIGH = 'counts_c = min(counts_c, settings["compensation_max_c"])'
_LOST = 'lost = self.t - self.read_t >= settings["sensor_lost_s"] - SLACK'
_FROZEN = 'if lost or self.t - self.changed_t >= settings["sensor_frozen_s"] - SLACK:'
_MOST = "self.shift_v = min(self.shift_v, 0.0)"
_JUMP = 'abs(self.temp_c - self.known_c) > settings["sensor_jump_c"]'

FAULTS = (
    Fault(
        name="no-lower-bound",
        requirement="COMPENSATE.bounded",
        title="raises without end in the cold",
        old=_LOW,
        new="counts_c = self.known_c",
        why="A sensor was thought to be right.",
    ),
    Fault(
        name="no-upper-bound",
        requirement="COMPENSATE.bounded",
        title="lowers without end in the heat",
        old=_HIGH,
        new="counts_c = max(counts_c, -273.15)",
        why="A sensor was thought to be right.",
    ),
    Fault(
        name="lost-unseen",
        requirement="COMPENSATE.missing",
        title="believes the last temperature for ever",
        old=_LOST,
        new="lost = False",
        why="A missing reading is skipped.",
    ),
    Fault(
        name="lost-at-once",
        requirement="REQUEST.compensated",
        title="drops its shift at the first missing reading",
        old=_LOST,
        new="lost = isnan(self.temp_c)",
        why="No reading, no shift.",
    ),
    Fault(
        name="lost-in-the-heat-too",
        requirement="REQUEST.compensated",
        title="takes back what a lost hot sensor lowered",
        old=_MOST,
        new="self.shift_v = 0.0",
        why="A lost sensor means the plain voltages.",
    ),
    Fault(
        name="frozen-unseen",
        requirement="COMPENSATE.frozen",
        title="believes a frozen sensor",
        old=_FROZEN,
        new="if lost:",
        why="The converter never failed on the bench.",
    ),
    Fault(
        name="jump-believed",
        requirement="COMPENSATE.jump",
        title="believes a reading that jumps",
        old=_JUMP,
        new="self.temp_c != self.temp_c",
        why="Every number is a temperature.",
    ),
    Fault(
        name="jump-believed-in-time",
        requirement="COMPENSATE.jump",
        title="believes a reading that jumped once the old one is lost",
        old=_JUMP,
        new=_JUMP + ' and not self.t - self.read_t >= settings["sensor_lost_s"]',
        why="Something must be believed in the end.",
    ),
    Fault(
        name="lost-for-ever",
        requirement="COMPENSATE.found-again",
        title="never believes a sensor again that was lost",
        old=_LOST,
        new=_LOST.replace("lost = ", 'lost = self.gone = getattr(self, "gone", False) or '),
        why="A fault is to be acknowledged.",
    ),
    Fault(
        name="compared-with-reference",
        requirement="REQUEST.compensated",
        title="compares the first reading with the reference temperature",
        old=_UNKNOWN,
        new='self.known_c = self.settings["reference_c"]\n        self.read_t = self.changed_t = nan',
        why="A variable must begin with something.",
    ),
    Fault(
        name="frost-before-the-first",
        requirement="COMPENSATE.before-first",
        title="takes 0 degrees C for the temperature before it has read any",
        old=_BEFORE,
        new=_BEFORE.replace("return", "self.known_c = self.read_t = self.changed_t = 0.0"),
        why="Memory begins with zeros.",
    ),
)
