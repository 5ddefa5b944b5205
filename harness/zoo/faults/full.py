"""Faults in the proof that a pack is full, and in what follows from it."""

from __future__ import annotations

from harness.zoo.fault import Fault

_PROOF = 'return self.v >= self._level("full_v") and not abs(self.i) > settings["taper_a"]'
_GRANT = 'elif self.stage == "absorption" and held >= settings["confirm_s"] - SLACK:'
_CONFIRM_STARTS = (
    'self.since.pop("stage", None)  # the confirmation counts from its own first sample'
)
_HELD = 'held = self._held("stage", condition)'
_AFTER_HOLD = 'elif self.stage != "absorption" or self._hold_is_over(dt):'
_WAIT = 'elif self.stage == "absorption" and settings["on_unconfirmed"] == "wait":'
_WAITED = 'if self.t - self.expired_t >= settings["wait_limit_s"] - SLACK:'
_DENY = 'elif self.stage == "absorption" and not condition:'
_DENIED = 'self._enter(str(settings["on_unconfirmed"]))'
_EXPIRED = "self.expired_t = self.t"
_SETS_ONE = "self.soc = 1.0"
_FLAG = "self.full_reset = True"
_NO_FLAG = "self.full_reset = False"
_OUTPUTS = """outputs = (
            self.stage,
            self.soc,
            self.full_reset,"""

FAULTS = (
    Fault(
        name="full-without-recheck",
        requirement="FULL.voltage",
        title="calls the pack full as soon as the hold has ended",
        old=_GRANT,
        new='elif self.stage == "absorption":',
        why="The pack was at its voltage when the hold began, and an hour has passed since.",
    ),
    Fault(
        name="full-by-current-alone",
        requirement="FULL.voltage",
        title="does not look at the voltage after the hold",
        old=_PROOF,
        new='return not abs(self.i) > settings["taper_a"]',
        why="A small current is taken for a proof, though a charger that is off gives none either.",
    ),
    Fault(
        name="full-twenty-millivolts-low",
        requirement="FULL.voltage",
        title="accepts 20 mV less than the full voltage",
        old=_PROOF,
        new='return self.v >= self._level("full_v") - 0.02 and not abs(self.i) > settings["taper_a"]',
        why="A margin was added so that a noisy meter would not deny a true full.",
    ),
    Fault(
        name="full-two-millivolts-low",
        requirement="FULL.voltage",
        title="accepts 2 mV less than the full voltage",
        old=_PROOF,
        new='return self.v >= self._level("full_v") - 0.002 and not abs(self.i) > settings["taper_a"]',
        why="The setting is stored in steps of the converter, rounded down.",
    ),
    Fault(
        name="full-confirmed-at-once",
        requirement="FULL.confirmed",
        title="does not wait for the confirmation",
        old=_GRANT,
        new='elif self.stage == "absorption" and held >= 0.0:',
        why="The confirmation is a late addition to the settings that the code never reads.",
    ),
    Fault(
        name="confirmation-counts-the-hold",
        requirement="FULL.confirmed",
        title="counts the confirmation from the start of the hold",
        old=_CONFIRM_STARTS,
        new="# the voltage has stood since the hold began",
        why="One timer serves the hold and the confirmation.",
    ),
    Fault(
        name="confirmation-survives-dips",
        requirement="FULL.confirmed",
        title="does not start the confirmation again after a dip",
        old=_HELD,
        new='begun = self.stage == "absorption" and "stage" in self.since\n'
        '        held = self._held("stage", condition or begun)\n'
        "        held = held if condition else nan",
        why="Only the voltage at the end of the confirmation is compared.",
    ),
    Fault(
        name="taper-ignored",
        requirement="FULL.taper",
        title="does not look at the current while it confirms",
        old=_PROOF,
        new='return self.v >= self._level("full_v")',
        why="The voltage was thought to be enough.",
    ),
    Fault(
        name="taper-forgets-discharge",
        requirement="FULL.taper",
        title="takes any discharge for a tapered current",
        old=_PROOF,
        new='return self.v >= self._level("full_v") and not self.i > settings["taper_a"]',
        why="The current was assumed to be positive in absorption.",
    ),
    Fault(
        name="full-on-low-current-before-the-end",
        requirement="HOLD.full-length",
        title="calls the pack full when the current is small, however long the hold was",
        old=_AFTER_HOLD,
        new="elif (\n"
        '            self.stage != "absorption"\n'
        "            or self._hold_is_over(dt)\n"
        '            or (self._stage_condition() and abs(self.i) < settings["capacity_ah"] / 200)\n'
        "        ):",
        why="A small current was thought to make the rest of the hold useless.",
    ),
    Fault(
        name="full-at-first-touch",
        requirement="FULL.at-hold-end",
        title="sets the count to full in bulk, at the first touch of the full voltage",
        old=_HELD,
        new=_HELD + "\n"
        '        if self.stage == "bulk" and self.v >= self._level("full_v") and self.soc < 1.0:\n'
        "            self.soc, self.full_reset = 1.0, True",
        why="The simplest rule there is: high voltage means full.",
    ),
    Fault(
        name="full-must-be-exceeded",
        requirement="FULL.granted",
        title="denies a pack at exactly the full voltage",
        old=_PROOF,
        new='return self.v > self._level("full_v") and not abs(self.i) > settings["taper_a"]',
        why="The comparison was written with > where >= was meant.",
    ),
    Fault(
        name="full-at-the-entry-voltage",
        requirement="FULL.granted",
        title="asks for the entry voltage again before it calls the pack full",
        old=_PROOF,
        new='return self.v >= self._level("entry_v") and not abs(self.i) > settings["taper_a"]',
        why="Two settings that were one setting once.",
    ),
    Fault(
        name="no-taper-is-zero",
        requirement="FULL.granted",
        title="asks for no current at all where no taper current is set",
        old=_PROOF,
        new='taper_a = 0.0 if isnan(settings["taper_a"]) else settings["taper_a"]\n'
        '            return self.v >= self._level("full_v") and not abs(self.i) > taper_a',
        why="A setting that is none is stored as zero.",
    ),
    Fault(
        name="confirmation-tripled",
        requirement="FULL.granted",
        title="confirms three times as long as it is set",
        old=_GRANT,
        new='elif self.stage == "absorption" and held >= 3.0 * settings["confirm_s"] - SLACK:',
        why="Three good readings were asked for, each of them sustained.",
    ),
    Fault(
        name="young-confirmation-denied",
        requirement="FULL.denied",
        title="denies a pack whose confirmation is only not over yet",
        old=_DENY,
        new='elif self.stage == "absorption":',
        why="What is not confirmed is taken for denied.",
    ),
    Fault(
        name="denied-always-floats",
        requirement="FULL.denied",
        title="goes to float after a denied reset where bulk is set",
        old=_DENIED,
        new='self._enter("float")',
        why="The setting came later than the code.",
    ),
    Fault(
        name="denied-always-back-to-bulk",
        requirement="FULL.denied",
        title="goes back to bulk after a denied reset where float is set",
        old=_DENIED,
        new='self._enter("bulk")',
        why="A pack that is not full is charged again until it is.",
    ),
    Fault(
        name="denied-stays",
        requirement="FULL.denied",
        title="stays in absorption until the pack is full, whatever is set",
        old=_WAIT,
        new='elif self.stage == "absorption":',
        why="The three ways to go on were reduced to the one that was tested.",
    ),
    Fault(
        name="wait-without-end",
        requirement="FULL.wait",
        title="waits for a full pack without a limit",
        old=_WAITED,
        new="if self.t - self.expired_t < 0.0:",
        why="The limit was thought never to matter with a healthy pack.",
    ),
    Fault(
        name="wait-counts-the-hold",
        requirement="FULL.wait",
        title="counts the limit of the wait from the start of the hold",
        old=_WAITED,
        new='if self.t - self.hold_since >= settings["wait_limit_s"] - SLACK:',
        why="The limit was read as the longest time in absorption.",
    ),
    Fault(
        name="wait-ends-full",
        requirement="FULL.voltage",
        title="calls the pack full when the wait is over",
        old=_WAITED,
        new=_WAITED + "\n                self.soc, self.full_reset = 1.0, True",
        why="After so long a wait the pack must be full.",
    ),
    Fault(
        name="reset-to-almost-one",
        requirement="FULL.sets-one",
        title="sets the count to 0.999 at a full reset",
        old=_SETS_ONE,
        new="self.soc = 0.999",
        why="The display counts in thousandths, and 1.000 did not fit.",
    ),
    Fault(
        name="reset-to-the-ceiling",
        requirement="FULL.sets-one",
        title="sets the count to its ceiling at a full reset",
        old=_SETS_ONE,
        new='self.soc = settings["soc_ceiling"]',
        why="The clamp of the counter comes after the reset.",
    ),
    Fault(
        name="reset-without-count",
        requirement="FULL.sets-one",
        title="reports the full reset and leaves the count as it is",
        old=_SETS_ONE,
        new="self.soc = max(self.soc, 0.0)",
        why="The counter keeps a copy of its own, and the copy wins.",
    ),
    Fault(
        name="reset-unreported",
        requirement="FULL.granted",
        title="sets the count to full without reporting a full reset",
        old=_FLAG,
        new="self.full_reset = False",
        why="The message was taken out to save a byte.",
    ),
    Fault(
        name="reset-one-sample-late",
        requirement="FULL.at-hold-end",
        title="reports the full reset at the sample after it",
        old=_OUTPUTS,
        new='late, self.late = getattr(self, "late", False), self.full_reset\n'
        "        " + _OUTPUTS.replace("self.full_reset", "late"),
        why="The message is put together before the step and sent after it.",
    ),
    Fault(
        name="reset-flag-sticks",
        requirement="FULL.at-hold-end",
        title="reports the full reset as long as the count stands at full in float",
        old=_NO_FLAG,
        new='self.full_reset = self.stage == "float" and self.soc == 1.0',
        why="The message says that the pack is full, not that it has just been found full.",
    ),
    Fault(
        name="count-synced-at-hold-end",
        requirement="SOC.no-jump",
        title="lifts the count to 0.95 when the hold ends",
        old=_EXPIRED,
        new="self.expired_t, self.soc = self.t, max(self.soc, 0.95)",
        why="A pack that has been at its voltage for an hour should not show half full.",
    ),
)
