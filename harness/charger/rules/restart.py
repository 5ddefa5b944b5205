"""RESTART: what a charger knows after it has lost power."""

from __future__ import annotations

from harness.charger.rules import names
from harness.charger.rules.conduct import conduct
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=names.FORGETS,
        title="a loss of power forgets everything",
        statement=(
            "After a loss of power the charger is `stopped`, gives no current, has heard no pack and "
            "compensates nothing: it begins as at its first start."
        ),
        reason="What the packs did meanwhile is not known, nor whether they are the same packs.",
        check=conduct,
    ),
)
