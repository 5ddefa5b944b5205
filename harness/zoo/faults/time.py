"""Faults with gaps, with time stamps that step back, and with invalid samples."""

from __future__ import annotations

from harness.zoo.fault import Fault

_CONTINUOUS = 'continuous = -SLACK <= dt <= settings["max_gap_s"] + SLACK'
_CLEARS = "if not continuous:\n            self.since.clear()"
_ABANDONS = 'if self.stage == "absorption" and not continuous:'
_COUNTS = "if continuous:\n            self._count(max(dt, 0.0))"
_FLOAT_STARTS = "if dt < -SLACK:\n            self.float_since = self.t"
_VALID = "if not (low_v <= self.v <= high_v and low_a <= self.i <= high_a):"
_SILENT = 'if self.t - self.heard_t > settings["max_gap_s"] + SLACK:'
_NO_FLAG = "self.full_reset = False\n        self._take()"

FAULTS = (
    Fault(
        name="gap-not-noticed-in-hold",
        requirement="TIME.gap-abandons-hold",
        title="counts a gap as part of the hold",
        old=_ABANDONS,
        new='if self.stage == "absorption" and dt < -SLACK:',
        why="The timer is a difference of two time stamps, and nobody looks between them.",
    ),
    Fault(
        name="gap-limit-tripled",
        requirement="TIME.gap-abandons-hold",
        title="notices only gaps of three times the limit",
        old=_CONTINUOUS,
        new='continuous = -SLACK <= dt <= 3.0 * settings["max_gap_s"] + SLACK',
        why="Three readings may be lost before anybody worries.",
    ),
    Fault(
        name="gap-ends-hold-in-float",
        requirement="TIME.gap-abandons-hold",
        title="goes to float after a gap in the hold",
        old=_ABANDONS + '\n            self._enter("bulk")',
        new=_ABANDONS + '\n            self._enter("float")',
        why="Float was thought to be the safe stage.",
    ),
    Fault(
        name="dwell-runs-through-gaps",
        requirement="TIME.gap-restarts-dwell",
        title="lets a dwell run through a gap",
        old=_CLEARS,
        new="if dt < -SLACK:\n            self.since.clear()",
        why="The dwell is a difference of two time stamps, and nobody looks between them.",
    ),
    Fault(
        name="gap-counted",
        requirement="TIME.gap-adds-nothing",
        title="counts the last current through a gap",
        old=_COUNTS,
        new="if dt >= 0.0:\n            self._count(dt)",
        why="The current before and after the gap was thought to say what lay between.",
    ),
    Fault(
        name="gap-counted-up-to-the-limit",
        requirement="TIME.gap-adds-nothing",
        title="counts the first part of a gap",
        old=_COUNTS,
        new='if dt >= 0.0:\n            self._count(min(dt, settings["max_gap_s"]))',
        why="The interval is clamped instead of being dropped.",
    ),
    Fault(
        name="backward-step-not-noticed",
        requirement="TIME.backward-step",
        title="does not abandon a hold when the time stamps step back",
        old=_CONTINUOUS,
        new='continuous = dt <= settings["max_gap_s"] + SLACK',
        why="Time was thought to go one way.",
    ),
    Fault(
        name="backward-step-counted",
        requirement="TIME.backward-step",
        title="takes back what it has counted when the time stamps step back",
        old=_COUNTS,
        new='if dt <= settings["max_gap_s"] + SLACK:\n            self._count(dt)',
        why="The interval is used with its sign.",
    ),
    Fault(
        name="float-timer-stuck-after-backward-step",
        requirement="TIME.backward-step",
        title="does not restart the float timer when the time stamps step back",
        old=_FLOAT_STARTS,
        new="if False:\n            self.float_since = self.t",
        why="Time was thought to go one way.",
    ),
    Fault(
        name="float-timer-restarted-by-gaps",
        requirement="TIME.float-timer-runs-on",
        title="restarts the float timer after every gap",
        old=_FLOAT_STARTS,
        new="if not continuous:\n            self.float_since = self.t",
        why="All timers are restarted after a gap.",
    ),
    Fault(
        name="float-left-after-gaps",
        requirement="TIME.float-timer-runs-on",
        title="leaves float after a gap",
        old=_ABANDONS,
        new='if self.stage in ("absorption", "float") and not continuous:',
        why="All stages but bulk are abandoned after a gap.",
    ),
    Fault(
        name="invalid-sample-breaks-dwells",
        requirement="TIME.invalid-skipped",
        title="starts every dwell again after an invalid sample",
        old=_SILENT,
        new="self.since.clear()\n            " + _SILENT,
        why="A sample that cannot be believed is treated like a low one.",
    ),
    Fault(
        name="invalid-sample-abandons-hold",
        requirement="TIME.invalid-skipped",
        title="abandons a hold at an invalid sample",
        old=_SILENT,
        new='if self.stage == "absorption":\n'
        '                self._enter("bulk")\n'
        "            " + _SILENT,
        why="A hold is to be proved without a flaw.",
    ),
    Fault(
        name="implausible-current-counted",
        requirement="TIME.invalid-skipped",
        title="counts a current that cannot be",
        old=_VALID,
        new="if not (low_v <= self.v <= high_v and abs(self.i) < 1e9):",
        why="Only the voltage is checked.",
    ),
    Fault(
        name="implausible-voltage-believed",
        requirement="TIME.invalid-skipped",
        title="believes a voltage that cannot be",
        old=_VALID,
        new="if not (abs(self.v) < 1e9 and low_a <= self.i <= high_a):",
        why="Only the current is checked.",
    ),
    Fault(
        name="plausible-bound-excluded",
        requirement="SOC.counts",
        title="skips a sample at exactly the bound of what can be",
        old=_VALID,
        new="if not (low_v < self.v < high_v and low_a < self.i < high_a):",
        why="The comparison was written with < where <= was meant.",
    ),
    Fault(
        name="missing-voltage-is-zero",
        requirement="TIME.invalid-skipped",
        title="takes a voltage that is missing for an empty pack",
        old=_VALID,
        new="if isnan(self.v):\n            self.v = low_v\n        " + _VALID,
        why="Memory is cleared, and the lowest reading is what the meter can show.",
    ),
    Fault(
        name="missing-current-is-zero",
        requirement="TIME.invalid-skipped",
        title="takes a current that is missing for none",
        old=_VALID,
        new="if isnan(self.i):\n            self.i = 0.0\n        " + _VALID,
        why="Memory is cleared to zero, and nobody asks whether a reading came.",
    ),
    Fault(
        name="invalid-sample-splits-the-count",
        requirement="SOC.counts",
        title="counts nothing before an invalid sample",
        old=_SILENT,
        new="self.last_t = nan if isnan(self.last_t) else self.t\n            " + _SILENT,
        why="The stamp is stored before the reading is looked at.",
    ),
    Fault(
        name="invalid-sample-sets-temperature",
        requirement="REQUEST.compensated",
        title="takes the temperature of an invalid sample",
        old=_SILENT,
        new="self._sense()\n            " + _SILENT,
        why="Every reading is stored where it comes in.",
    ),
    Fault(
        name="invalid-sample-repeats-the-reset",
        requirement="TIME.invalid-skipped",
        title="repeats the full reset at an invalid sample after it",
        old=_NO_FLAG,
        new="self.full_reset = getattr(self, 'full_reset', False) and isnan(self.v)\n"
        "        self._take()",
        why="The outputs stay as they were, and the message is one of them.",
    ),
    Fault(
        name="stampless-sample-is-time-zero",
        requirement="TIME.invalid-skipped",
        title="takes a time stamp that is missing for zero",
        old="self.t, self.v, self.i, self.cell_max_v, self.temp_c, self.hottest_c = readings\n",
        new="self.t, self.v, self.i, self.cell_max_v, self.temp_c, self.hottest_c = readings\n"
        "        self.t = 0.0 if isnan(self.t) else self.t\n",
        why="Memory is cleared to zero, and nobody asks whether a reading came.",
    ),
    Fault(
        name="trip-dwell-broken-by-silence",
        requirement="TIME.invalid-skipped",
        title="forgets that a cell is high at an invalid sample",
        old=_SILENT,
        new='self.since.pop("cell", None)\n            ' + _SILENT,
        why="The cell voltage of a skipped sample is taken for absent.",
    ),
)
