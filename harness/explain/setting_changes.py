"""A change of settings as a candidate, of one pack or of all."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from attrs import evolve

from ctrl.settings import Settings
from harness.explain.charge import ChargeDay
from harness.explain.fitted import with_branch
from harness.explain.fix import Candidate
from harness.world.bank import World

# What is left between a level and what the log shows, V a pack of 16 cells.
SPARE_V = 0.01
WEAKER = "the pack is called full on less; a voltage in the flat part says little of the charge"
HIGHER = "every pack and every cell stands higher; never above what the cell maker allows"


def with_settings(
    pack: ChargeDay,
    change: str,
    risk: str,
    danger: int,
    *,
    all_packs: bool = False,
    **settings: Any,
) -> Candidate | None:
    """A change of settings, of one pack or of all; None where the rules do not allow it."""
    try:
        new = evolve(pack.settings, **settings)
    except ValueError:
        return None

    def everywhere(before: World) -> World:
        for branch in before.packs:
            own = evolve(branch.settings, **settings)
            before = with_branch(before, branch.name, settings=own)
        return before

    world = everywhere if all_packs else sets(pack.ruled.name, new)
    return Candidate(change, risk, danger, settings=new, world=world)


def sets(name: str, settings: Settings) -> Callable[[World], World]:
    """The change of a world that gives one pack these settings."""
    return lambda world: with_branch(world, name, settings=settings)


def some(*found: Candidate | None) -> Iterator[Candidate]:
    """Those that there are."""
    yield from (each for each in found if each is not None)
