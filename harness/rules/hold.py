"""HOLD: how long absorption is held, and what a sag does to it."""

from __future__ import annotations

from harness.rules.absorption import ENDS, FULL_LENGTH, SAG, absorptions
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=FULL_LENGTH,
        title="absorption is held for the whole hold timer",
        statement="Absorption is not left for float or bulk by a decision of the charge before the "
        "hold timer, counted from the entry of absorption, shows `hold_s`.",
        reason="The time at the voltage is what lets the cells draw level and fill; a short hold "
        "ends with a pack that looks full.",
        check=absorptions,
    ),
    Requirement(
        id=ENDS,
        title="the hold ends when its timer has run out",
        statement="At the sample at which the hold timer shows `hold_s` the confirmation takes its "
        "place; where that decides at once, absorption is left at that sample.",
        reason="Cells kept at their highest voltage for longer than asked age faster.",
        check=absorptions,
    ),
    Requirement(
        id=SAG["run"],
        title="a sag lets the hold timer run on",
        statement="Under `on_sag = run` a voltage under `sag_v` changes nothing in the hold timer.",
        reason="The voltage is asked again after the hold; until then a passing load costs no time.",
        check=absorptions,
    ),
    Requirement(
        id=SAG["pause"],
        title="a sag pauses the hold timer",
        statement="Under `on_sag = pause` the hold timer does not count an interval that starts at a "
        "sample under `sag_v`.",
        reason="Only time at the voltage counts, but what was held before the sag is not lost.",
        check=absorptions,
        features={"sag_pause"},
    ),
    Requirement(
        id=SAG["restart"],
        title="a sag restarts the hold timer",
        statement="Under `on_sag = restart` a sample under `sag_v` puts the hold timer back to zero, "
        "where it stays until the voltage is at or above `sag_v` again.",
        reason="The strictest reading: the whole hold in one piece at the voltage.",
        check=absorptions,
        features={"sag_restart"},
    ),
)
