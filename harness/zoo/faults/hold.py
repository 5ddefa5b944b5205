"""Faults in the hold timer and in what a sag does to it."""

from __future__ import annotations

from harness.zoo.fault import Fault

_EXPIRES = 'if isnan(self.expired_t) and self.t - self.hold_since >= settings["hold_s"] - SLACK:'
_STARTS = "self.hold_since = self.float_since = self.equalise_since = self.t\n"
_PAUSES = 'if settings["on_sag"] == "pause" and self.sagged:'
_PAUSED = "self.hold_since += dt"
_RESTARTS = 'if settings["on_sag"] == "restart" and (self.sagged or self.v < self._level("sag_v")):'
_BROKEN = 'if self.stage == "absorption" and not continuous:'

FAULTS = (
    Fault(
        name="hold-one-minute-short",
        requirement="HOLD.full-length",
        title="ends the hold one minute early",
        old=_EXPIRES,
        new='if isnan(self.expired_t) and self.t - self.hold_since >= settings["hold_s"] - 60.0:',
        why="Time that the pack is thought to have spent at the voltage before is taken off.",
    ),
    Fault(
        name="hold-three-seconds-short",
        requirement="HOLD.full-length",
        title="ends the hold three seconds early",
        old=_EXPIRES,
        new='if isnan(self.expired_t) and self.t - self.hold_since >= settings["hold_s"] - 3.0:',
        why="The hold is stored in ticks that do not divide its length, rounded down.",
    ),
    Fault(
        name="hold-counts-the-entry-dwell",
        requirement="HOLD.full-length",
        title="starts the hold timer with the entry dwell, not at its end",
        old=_STARTS,
        new="self.float_since = self.equalise_since = self.t\n"
        '        self.hold_since = self.t - self.settings["entry_dwell_s"]\n',
        why="One timer serves the dwell and the hold, and nobody sets it back between them.",
    ),
    Fault(
        name="hold-timer-not-restarted",
        requirement="HOLD.full-length",
        title="lets a second hold go on from where the first one began",
        old=_STARTS,
        new="self.float_since = self.equalise_since = self.t\n"
        "        self.hold_since = self.t if isnan(self.hold_since) else self.hold_since\n",
        why="The timer is cleared when it expires, but not when a hold is abandoned.",
    ),
    Fault(
        name="hold-ends-on-low-current",
        requirement="HOLD.full-length",
        title="ends the hold at once when the current is small",
        old=_EXPIRES,
        new='over = self.t - self.hold_since >= settings["hold_s"] - SLACK\n'
        '        if isnan(self.expired_t) and (over or abs(self.i) < settings["capacity_ah"] / 200):',
        why="A small current ends the charge in many chargers, so it was added here too.",
    ),
    Fault(
        name="hold-half-a-minute-long",
        requirement="HOLD.ends",
        title="ends the hold half a minute late",
        old=_EXPIRES,
        new='if isnan(self.expired_t) and self.t - self.hold_since >= settings["hold_s"] + 30.0:',
        why="The timers are looked at only once in half a minute.",
    ),
    Fault(
        name="hold-timer-wraps",
        requirement="HOLD.ends",
        title="never ends a hold: the timer wraps at 65.536 s",
        old=_EXPIRES,
        new="held = (self.t - self.hold_since) % 65.536\n"
        '        if isnan(self.expired_t) and held >= settings["hold_s"] - SLACK:',
        why="Milliseconds were kept in 16 bits.",
    ),
    Fault(
        name="hold-waits-for-high-voltage",
        requirement="HOLD.sag-runs-on",
        title="does not end the hold while the voltage is under the entry voltage",
        old=_EXPIRES,
        new='over = self.t - self.hold_since >= settings["hold_s"] - SLACK\n'
        '        if isnan(self.expired_t) and over and self.v >= self._level("entry_v"):',
        why="The hold is meant to end full, so its end waits until the pack looks full.",
    ),
    Fault(
        name="sag-always-pauses",
        requirement="HOLD.sag-runs-on",
        title="pauses the hold timer in a sag whatever the setting says",
        old=_PAUSES,
        new="if self.sagged:",
        why="The setting was added later, and one place was forgotten.",
    ),
    Fault(
        name="sag-ends-the-hold",
        requirement="HOLD.sag-runs-on",
        title="goes back to bulk when the voltage sags in the hold",
        old=_BROKEN,
        new='low = isnan(self.expired_t) and self.v < self._level("sag_v")\n'
        '        if self.stage == "absorption" and (low or not continuous):',
        why="Entry and exit of a stage use the same voltage, as a comparator would.",
    ),
    Fault(
        name="sag-pause-ignored",
        requirement="HOLD.sag-pauses",
        title="lets the hold timer run on in a sag that should pause it",
        old=_PAUSES,
        new='if settings["on_sag"] == "paused" and self.sagged:',
        why="The word in the code is not the word in the settings.",
    ),
    Fault(
        name="sag-pause-restarts",
        requirement="HOLD.sag-pauses",
        title="restarts the hold timer in a sag that should only pause it",
        old=_PAUSED,
        new="self.hold_since = self.t",
        why="The two ways to treat a sag share one branch.",
    ),
    Fault(
        name="sag-pause-lasts-a-second",
        requirement="HOLD.sag-pauses",
        title="takes at most one second off the hold timer for a sag",
        old=_PAUSES,
        new='if settings["on_sag"] == "pause" and self.sagged and self.v >= self._level("sag_v"):',
        why="The pause is booked when the sag ends, with the length of the last interval.",
    ),
    Fault(
        name="sag-restart-ignored",
        requirement="HOLD.sag-restarts",
        title="lets the hold timer run on in a sag that should restart it",
        old=_RESTARTS,
        new='if settings["on_sag"] == "reset" and (self.sagged or self.v < self._level("sag_v")):',
        why="The word in the code is not the word in the settings.",
    ),
    Fault(
        name="sag-restart-pauses",
        requirement="HOLD.sag-restarts",
        title="only pauses the hold timer in a sag that should restart it",
        old=_RESTARTS + "\n            self.hold_since = self.t\n",
        new='if settings["on_sag"] == "restart" and self.sagged:\n'
        "            self.hold_since += dt\n",
        why="A restart was thought too harsh for a cloud.",
    ),
    Fault(
        name="sag-at-the-full-voltage",
        requirement="HOLD.sag-pauses",
        title="takes only a voltage under the full voltage for a sag",
        old='self.sagged = self.v < self._level("sag_v")',
        new='self.sagged = self.v < self._level("full_v")',
        why="Two settings that were one setting once.",
    ),
    Fault(
        name="no-sag-voltage-is-zero",
        requirement="HOLD.sag-pauses",
        title="sees no sag at all where the sag voltage is left to the entry voltage",
        old='self.settings["sag_v"] = settings["entry_v"]',
        new='self.settings["sag_v"] = 0.0',
        why="A setting that is none is stored as zero.",
    ),
)
