"""The cases by which a charger is tried, built from their stories.

They are not closed loops: what the packs read is written down beforehand, so a charger cannot make
it easier for itself.
"""

from __future__ import annotations

from functools import cache
from importlib import import_module

from harness.charger.case import ChargerCase
from harness.charger.scene import STORIES
from harness.rules.link import CUTS

_MODULES = ("heard", "trouble")


@cache
def charger_cases() -> tuple[ChargerCase, ...]:
    """Every case, by name."""
    for module in _MODULES:
        import_module(f"harness.charger.stories.{module}")
    cases = []
    for name, (story, requirements) in sorted(STORIES.items()):
        scene = story()
        cuts = tuple(range(7, len(scene), 41)) if CUTS in requirements else ()
        told = " ".join((story.__doc__ or "").split())
        cases.append(scene.case(name, told, cuts=cuts, requirements=requirements))
    return tuple(cases)
