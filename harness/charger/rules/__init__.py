"""The catalogue of the role `charger`: what a charger must do, each beside the check that judges it."""

from __future__ import annotations

from harness.charger.rules import (
    begin,
    ceiling,
    clock,
    doubt,
    follow,
    packs,
    recover,
    restart,
    sense,
    stale,
)
from harness.charger.rules.conduct import no_current
from harness.charger.rules.current import limit
from harness.rules import link
from harness.rules.requirement import Check, Requirement

CHARGER_GROUPS = {
    "CEILING": "What is never exceeded, whatever happened before.",
    "FOLLOW": "How requests are followed, down and up.",
    "SENSE": "Compensation of the line by the voltage that the packs read.",
    "STALE": "What happens when messages get old.",
    "RECOVER": "What it takes to follow again.",
    "BEGIN": "The start.",
    "DOUBT": "Messages and readings that cannot be believed.",
    "PACKS": "Several packs on one charger.",
    "CLOCK": "Stamps that are missing, that jump, and that step back.",
    "RESTART": "What a charger knows after it has lost power.",
    "LINK": "How a charger answers.",
}

CHARGER_REQUIREMENTS: tuple[Requirement, ...] = tuple(
    requirement
    for module in (
        ceiling,
        follow,
        sense,
        stale,
        recover,
        begin,
        doubt,
        packs,
        clock,
        restart,
        link,
    )
    for requirement in module.REQUIREMENTS
)

# A check may find what breaks a requirement beside which another one stands: all of them look.
CHARGER_CHECKS: tuple[Check, ...] = tuple(
    dict.fromkeys(
        (
            *(r.check for r in CHARGER_REQUIREMENTS if r.group != "LINK"),
            limit,
            no_current,
        )
    )
)

_BY_ID = {requirement.id: requirement for requirement in CHARGER_REQUIREMENTS}


def charger_requirement(name: str) -> Requirement:
    """The requirement with this id; raises `KeyError` for any other name."""
    return _BY_ID[name]
