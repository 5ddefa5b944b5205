"""The requirements of every role, by their ids: no two roles share one but those of the link."""

from __future__ import annotations

from harness.charger.rules import CHARGER_GROUPS, CHARGER_REQUIREMENTS
from harness.rules import GROUPS, REQUIREMENTS
from harness.rules.requirement import Requirement

ALL_GROUPS = {**CHARGER_GROUPS, **GROUPS}
_BY_ID = {requirement.id: requirement for requirement in (*CHARGER_REQUIREMENTS, *REQUIREMENTS)}


def any_requirement(name: str) -> Requirement:
    """The requirement with this id, whatever its role; raises `KeyError` for any other name."""
    return _BY_ID[name]
