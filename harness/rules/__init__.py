"""The requirement catalogue: what a controller must do, each beside the check that judges it."""

from __future__ import annotations

from harness.rules import (
    compensate,
    entry,
    equalise,
    floating,
    full,
    hold,
    link,
    power,
    protect,
    request,
    returning,
    soc,
    time,
)
from harness.rules.requirement import Requirement

GROUPS = {
    "ENTRY": "When bulk ends and the hold starts.",
    "HOLD": "How long absorption is held, and what a sag does to it.",
    "FULL": "When a pack may be called full, and when it must be.",
    "FLOAT": "How long float lasts.",
    "RETURN": "What sends a pack from float back to bulk.",
    "EQUALISE": "When an equalisation may start, and what ends it.",
    "SOC": "What the count of charge may do.",
    "REQUEST": "What is asked of the charger.",
    "COMPENSATE": "What a temperature sensor in doubt may do to the voltages.",
    "PROTECT": "What blocks the charge, and when it lets go.",
    "TIME": "Gaps, stamps that step back, and readings that cannot be believed.",
    "POWER": "What a controller knows after it has lost power.",
    "LINK": "How a controller answers.",
}

REQUIREMENTS: tuple[Requirement, ...] = tuple(
    requirement
    for module in (
        entry,
        hold,
        full,
        floating,
        returning,
        equalise,
        soc,
        request,
        compensate,
        protect,
        time,
        power,
        link,
    )
    for requirement in module.REQUIREMENTS
)

_BY_ID = {requirement.id: requirement for requirement in REQUIREMENTS}


def requirement(name: str) -> Requirement:
    """The requirement with this id; raises `KeyError` for any other name."""
    return _BY_ID[name]
