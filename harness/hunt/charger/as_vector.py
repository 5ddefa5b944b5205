"""A shortened failure of a charger as a vector: what any other charger can be tried with."""

from __future__ import annotations

import numpy as np

from harness.charger.case import ChargerCase
from harness.charger.corridor import corridor
from harness.charger.rules import charger_requirement
from harness.charger.vector import ChargerVector
from harness.hunt.as_vector import GROUP, slug
from harness.hunt.failure import Failure
from harness.rules.requirement import Requirement
from harness.run import Finding


def charger_as_vector(
    failure: Failure, case: ChargerCase, finding: Finding, *, number: int = 1
) -> ChargerVector:
    """A failing case as a vector that expects what the rules allow.

    Args:
        failure: what it comes from.
        case: the shortened case.
        finding: how it fails.
        number: which of several ways of breaking the same requirement; part of the id from 2 on.
    """
    asked: Requirement = charger_requirement(failure.key.requirement)
    return ChargerVector(
        id=f"{GROUP}/{slug(failure, number)}",
        title=f"found by a hunt: {asked.title}",
        description=f"{finding.sentence} Found in {failure.case.id if failure.case else case.id} and "
        f"shortened to {len(case.trace)} samples; what is expected is what the rules allow.",
        why=asked.reason,
        settings=case.settings,
        trace=case.trace,
        expected=corridor(case),
        requirements=(asked.id,),
        tags=("backward",) if _steps_back(case) else (),
        catches=(finding.sentence,),
        power_cycles=case.power_cycles,
        cuts=case.cuts,
    )


def _steps_back(case: ChargerCase) -> bool:
    stamps = case.trace.t[np.isfinite(case.trace.t)]
    return bool(np.any(np.diff(stamps) < 0))
