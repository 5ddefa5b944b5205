"""Faults in equalisation."""

from __future__ import annotations

from harness.zoo.fault import Fault

_DEFAULT = 'if settings["sag_v"] is None:'
_REQUEST = "self.requested = True"
_FORGOTTEN = "self.requested = False  # an equalisation, and none has been completed since"
_DUE = "and (self.requested or scheduled)"
_SCHEDULED = (
    'scheduled = self.t - self.schedule_since >= self.settings["equalisation_every_s"] - SLACK'
)
_CURRENT = "and self.i > 0"
_COOL = "return isnan(most_c) or self.hottest_c <= most_c"
_WARM = 'warm = self._held("warm", not self._cool()) >= settings["trip_dwell_s"] - SLACK'
_IDLE = 'idle = self._held("idle", not self.i > 0) >= settings["equalisation_loss_s"] - SLACK'
_ABANDONED = "if not continuous or warm or idle:"
_STAYS_DUE = "self._put_off()  # it stays due"
_OVER = 'elif self.t - self.equalise_since >= settings["equalisation_s"] - SLACK:'
_DONE = "self.schedule_since, self.not_before = self.t, nan"
_RETRY = 'self.not_before = self.t + self.settings["equalisation_retry_s"] - SLACK'
_BULK = 'if self.stage == "bulk" and held >= settings["entry_dwell_s"] - SLACK:'
_STAGE = """elif self.stage == "equalisation":
            self._equalise(continuous)"""
_TRIP = """if self.stage == "equalisation":
            self._put_off()
"""
_ASKED = '"equalisation": "equalisation_v"'
_LEVEL = "return value + self.shift_v"
_HAS_DEFAULT = """if settings["equalisation_v"] is None:
            self.settings["equalisation_v"] = settings["absorption_v"] + 1.0
        """
_FROM_BULK = """if self.stage == "bulk" and self._equalisation_is_due():
            self._enter("equalisation")
        el"""
_RETURNS = """elif self.stage == "equalisation" and self.v < self._level("return_v"):
            self._enter("bulk")
        """

FAULTS = (
    Fault(
        name="equalises-where-forbidden",
        requirement="EQUALISE.allowed",
        title="equalises a volt above absorption_v where no voltage for it is set",
        old=_DEFAULT,
        new=_HAS_DEFAULT + _DEFAULT,
        why="One firmware serves flooded and gel batteries.",
    ),
    Fault(
        name="equalises-from-bulk",
        requirement="EQUALISE.from-float",
        title="starts an equalisation in bulk",
        old=_BULK,
        new=_FROM_BULK + _BULK,
        why="The operator pressed the key, so it starts.",
    ),
    Fault(
        name="always-due",
        requirement="EQUALISE.due",
        title="equalises whenever it is in float",
        old=_DUE,
        new="and not isnan(self.t)",
        why="The flag that it is due is never looked at.",
    ),
    Fault(
        name="schedule-halved",
        requirement="EQUALISE.due",
        title="finds one due after half of its schedule",
        old=_SCHEDULED,
        new=_SCHEDULED.replace('"equalisation_every_s"]', '"equalisation_every_s"] / 2'),
        why="Days are counted at sunrise and at sunset.",
    ),
    Fault(
        name="schedule-from-the-start",
        requirement="EQUALISE.due",
        title="counts the schedule from the start of the last one",
        old=_DONE,
        new="self.schedule_since, self.not_before = self.equalise_since, nan",
        why="The start was stored, the end was not.",
    ),
    Fault(
        name="request-not-cleared",
        requirement="EQUALISE.due",
        title="equalises again and again once it was asked for",
        old="self.requested = False\n            " + _DONE,
        new=_DONE,
        why="The flag is cleared where the key is released.",
    ),
    Fault(
        name="schedule-ignored",
        requirement="EQUALISE.starts",
        title="starts by request only",
        old=_DUE,
        new="and self.requested",
        why="The schedule is for another product.",
    ),
    Fault(
        name="request-ignored",
        requirement="EQUALISE.starts",
        title="starts by schedule only",
        old=_REQUEST,
        new="self.requested = False",
        why="The key is not connected.",
    ),
    Fault(
        name="abandoned-counts-as-done",
        requirement="EQUALISE.remembered",
        title="does not try again what was abandoned",
        old=_STAYS_DUE,
        new="self.requested = False",
        why="Both ends run through the same code.",
    ),
    Fault(
        name="request-in-float-only",
        requirement="EQUALISE.remembered",
        title="forgets a request that comes before float",
        old=_REQUEST,
        new='self.requested = self.stage == "float"',
        why="The key works where the menu shows it.",
    ),
    Fault(
        name="request-kept-over-power",
        requirement="EQUALISE.remembered",
        title="keeps a request over a loss of power",
        old=_FORGOTTEN,
        new='self.requested = getattr(self, "requested", False)',
        why="The flag lies in memory with a battery.",
    ),
    Fault(
        name="heat-by-the-coldest",
        requirement="EQUALISE.heat",
        title="looks at the coldest sensor while it equalises",
        old=_COOL,
        new="return isnan(most_c) or self.temp_c <= most_c",
        why="The variable of the first sensor is at hand.",
    ),
    Fault(
        name="missing-is-mild",
        requirement="EQUALISE.cool",
        title="takes a missing temperature for a mild one",
        old=_COOL,
        new="return isnan(most_c) or not self.hottest_c > most_c",
        why="A comparison with a number that is none is false.",
    ),
    Fault(
        name="heat-ends-nothing",
        requirement="EQUALISE.heat",
        title="goes on however warm it gets",
        old=_WARM,
        new="warm = False",
        why="The bound is looked at before the start.",
    ),
    Fault(
        name="ends-at-a-warm-spike",
        requirement="EQUALISE.whole",
        title="ends at the first warm reading",
        old=_WARM,
        new="warm = not self._cool()",
        why="A dwell seemed to be unsafe.",
    ),
    Fault(
        name="starts-without-current",
        requirement="EQUALISE.current",
        title="starts while the pack is discharged",
        old=_CURRENT,
        new="and not isnan(self.i)",
        why="Nobody tried it at night.",
    ),
    Fault(
        name="current-lost-unseen",
        requirement="EQUALISE.loss",
        title="runs its timer out without current",
        old=_IDLE,
        new="idle = False",
        why="A timer is a timer.",
    ),
    Fault(
        name="ends-at-a-dip",
        requirement="EQUALISE.whole",
        title="ends at the first sample without current",
        old=_IDLE,
        new="idle = not self.i > 0",
        why="A dwell seemed to be needless.",
    ),
    Fault(
        name="break-unseen",
        requirement="EQUALISE.break",
        title="goes on after a break in time",
        old=_ABANDONED,
        new="if warm or idle:",
        why="Only the hold was thought of.",
    ),
    Fault(
        name="half-as-long-again",
        requirement="EQUALISE.time",
        title="lasts half as long again",
        old=_OVER,
        new=_OVER.replace('"equalisation_s"]', '"equalisation_s"] * 1.5'),
        why="A factor for aged batteries was left in.",
    ),
    Fault(
        name="half-as-long",
        requirement="EQUALISE.whole",
        title="lasts half as long",
        old=_OVER,
        new=_OVER.replace('"equalisation_s"]', '"equalisation_s"] / 2'),
        why="The timer runs at the old tick.",
    ),
    Fault(
        name="asked-again-longer",
        requirement="EQUALISE.time",
        title="begins its time anew when it is asked for again",
        old=_REQUEST,
        new=_REQUEST + "\n        self.equalise_since = self.t",
        why="The key starts the timer.",
    ),
    Fault(
        name="bulk-afterwards",
        requirement="EQUALISE.after",
        title="goes to bulk when it is over",
        old=_DONE + '\n            self._enter("float")',
        new=_DONE + '\n            self._enter("bulk")',
        why="Every charge begins in bulk.",
    ),
    Fault(
        name="voltage-ends-it",
        requirement="EQUALISE.after",
        title="goes to bulk from it when the voltage is low",
        old=_STAGE,
        new=_RETURNS + _STAGE,
        why="The rule of float was taken over.",
    ),
    Fault(
        name="no-retry-wait",
        requirement="EQUALISE.retry",
        title="tries again at once what was abandoned",
        old=_RETRY,
        new="self.not_before = nan",
        why="The wait was to come later.",
    ),
    Fault(
        name="calls-it-full",
        requirement="EQUALISE.no-reset",
        title="sets the count to 1 at the end of an equalisation",
        old=_DONE,
        new=_DONE + "\n            self.soc, self.full_reset = 1.0, True",
        why="Whoever is overcharged must be full.",
    ),
    Fault(
        name="asks-for-absorption",
        requirement="EQUALISE.asks",
        title="asks for absorption_v in it",
        old=_ASKED,
        new='"equalisation": "absorption_v"',
        why="The table of requests had no line for it.",
    ),
    Fault(
        name="not-compensated",
        requirement="EQUALISE.asks",
        title="does not shift its voltage with temperature",
        old=_LEVEL,
        new='return value + (0.0 if name == "equalisation_v" else self.shift_v)',
        why="The setting was added last.",
    ),
    Fault(
        name="unprotected-while-equalising",
        requirement="PROTECT.temperature-trips",
        title="does not trip while it equalises",
        old=_TRIP,
        new='if self.stage == "equalisation":\n            return\n',
        why="Overcharge is meant to be hot.",
    ),
)
