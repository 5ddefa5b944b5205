"""The requirements of every role, by their ids: no two roles share one but those of the link.

Those of a charger are loaded where they are asked for: most commands tell of controllers alone.
"""

from __future__ import annotations

from collections.abc import Mapping

from harness.role import CHARGER
from harness.rules import GROUPS, REQUIREMENTS, requirement
from harness.rules.requirement import Requirement


def catalogue_of(role: str) -> tuple[Requirement, ...]:
    """The requirements of a role."""
    if role != CHARGER:
        return REQUIREMENTS
    from harness.charger.rules import CHARGER_REQUIREMENTS

    return CHARGER_REQUIREMENTS


def groups_of(role: str) -> Mapping[str, str]:
    """The groups of a role, each with what it is about."""
    if role != CHARGER:
        return GROUPS
    from harness.charger.rules import CHARGER_GROUPS

    return CHARGER_GROUPS


def any_requirement(name: str) -> Requirement:
    """The requirement with this id, whatever its role; raises `KeyError` for any other name."""
    try:
        return requirement(name)
    except KeyError:
        from harness.charger.rules import charger_requirement

        return charger_requirement(name)
