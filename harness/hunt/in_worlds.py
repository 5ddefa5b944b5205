"""Traces that a closed loop makes: the controller in a small bank, beside the reference.

In a swept trace the voltage does not care what was asked for. What a controller does in a bank changes
what it sees next, so a fault leads it to where no swept trace may come. Each trace that comes of it is
then like any other: tried, judged and shortened on its own.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack

from attrs import evolve
from hypothesis import HealthCheck, Phase, Verbosity, given
from hypothesis import seed as seeded
from hypothesis import settings as stated

from harness.attach.base import Attachment, LinkFault
from harness.attach.reference import open_attachment
from harness.hunt.compare import reference_run
from harness.run import Case
from harness.strategies.sweep import Swept
from harness.strategies.worlds import worlds
from harness.world.as_case import as_case
from harness.world.bank import World
from harness.world.loop import simulate


def traces_of_worlds(
    attachment: Attachment, *, seed: int, count: int, features: frozenset[str]
) -> Iterator[Swept]:
    """What a controller saw in so many worlds; it has the first pack, the reference the others.

    Args:
        attachment: the controller.
        seed: other worlds; the same seed gives the same ones.
        count: how many worlds.
        features: what the controller claims.

    Yields:
        One trace a world, numbered from -1 down, so that no swept trace has its number.
    """
    for k, world in enumerate(_drawn(seed, count, features)):
        case = _seen(attachment, world)
        if case is None:
            continue
        own = evolve(case, id=f"hunt/{seed}-world-{k}")
        yield Swept(-1 - k, own, reference_run(own).answers)


def _drawn(seed: int, count: int, features: frozenset[str]) -> list[World]:
    found: list[World] = []

    @seeded(seed)
    @stated(
        max_examples=count,
        derandomize=False,
        database=None,
        deadline=None,
        phases=(Phase.generate,),
        suppress_health_check=list(HealthCheck),
        verbosity=Verbosity.quiet,
    )
    @given(worlds(features=features))
    def draw(world: World) -> None:
        found.append(world)

    draw()
    return found[:count]


def _seen(attachment: Attachment, world: World) -> Case | None:
    """The trace of the first pack; up to where the controller failed, where it did."""
    with ExitStack() as others:
        rest = [
            others.enter_context(open_attachment("ref", "", limit_s=10.0)) for _ in world.packs[1:]
        ]
        try:
            result = simulate(world, [attachment, *rest])
        except LinkFault:
            attachment.restart()
            return None
    if result.stop is not None:
        attachment.restart()
    samples = result.packs[0].samples
    return as_case(result, 0) if samples is not None and len(samples) else None
