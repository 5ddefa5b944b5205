"""Forty logs with one planted cause each: is the reason the planted one, and does the first fix help?"""

from __future__ import annotations

from functools import cache

import pytest
from attrs import evolve

from harness.explain.explained import Explained, explain
from harness.explain.fixes import fixes
from harness.explain.reason import Cause
from tests.explain.planted import PLANTS, Planted, log_of, planted, record, resets_of

# Of 40, and of the 36 that have a fix. At the moment all of them are right, and all are fixed.
LEAST_RIGHT, LEAST_FIXED = 38, 36
NAMES = [(cause, k) for cause, (_, count) in PLANTS.items() for k in range(count)]
# Nothing to fix: all is well, or there is no sun.
WITHOUT_FIX = {"healthy-1", "healthy-2", "healthy-3", "cloud-3"}


@cache
def story(cause: str, k: int) -> tuple[Planted, Explained]:
    plant = planted(cause, k)
    log = log_of(plant)
    settings = {pack.name: own for pack, own in zip(log.packs, plant.told, strict=True)}
    return plant, explain(log, settings)


def is_right(plant: Planted, explained: Explained) -> bool:
    names = [branch.name for branch in plant.world.packs]
    if plant.cause == "healthy":
        return all(explained.main(name).cause is Cause.HEALTHY for name in names)
    top = explained.top
    where = {names[k] for k in plant.affected}
    return top.cause.name.lower() == plant.cause and (not where or top.pack in where)


def is_fixed(plant: Planted, explained: Explained) -> bool:
    """Whether the bank that made the log calls the pack full with the first fix."""
    found = fixes(explained, explained.top)
    if not found or found[0].world is None:
        return False
    world = found[0].world(plant.world)
    clock = None if plant.cause == "clock_jump" else plant.clock
    names = [branch.name for branch in plant.world.packs]
    changed = evolve(plant, world=world, clock=clock)
    return resets_of(changed)[names.index(explained.top.pack)] > 0


def test_there_are_forty_of_twelve_causes() -> None:
    assert len(NAMES) == 40
    assert len(PLANTS) == 12


def test_the_top_reason_is_the_planted_one() -> None:
    wrong = []
    for name in NAMES:
        plant, explained = story(*name)
        if not is_right(plant, explained):
            top = explained.top
            wrong.append((plant.name, top.pack, top.cause.value, top.chain[-1].sentence))
    assert len(NAMES) - len(wrong) >= LEAST_RIGHT, wrong


def test_healthy_ones_are_called_healthy() -> None:
    for k in range(PLANTS["healthy"][1]):
        assert is_right(*story("healthy", k))


def test_after_the_first_fix_the_bank_is_full() -> None:
    right, wrong = 0, []
    for name in NAMES:
        plant, explained = story(*name)
        if plant.name in WITHOUT_FIX:
            # Nothing is proposed that would not help.
            assert not any(fix.helps for fix in fixes(explained, explained.top)), plant.name
            continue
        if is_fixed(plant, explained):
            right += 1
        else:
            wrong.append(plant.name)
    assert len(NAMES) - len(WITHOUT_FIX) == 36
    assert right >= LEAST_FIXED, wrong


@pytest.mark.parametrize("k", range(PLANTS["drifted_counter"][1]))
def test_a_count_that_drifts_is_put_right(k: int) -> None:
    plant, explained = story("drifted_counter", k)
    (fix, *_) = fixes(explained, explained.top)
    assert fix.world is not None
    pack = [branch.name for branch in plant.world.packs].index(explained.top.pack)
    before = record(plant).result.summary.packs[pack].resets
    after = record(plant, fix.world(plant.world)).result.summary.packs[pack].resets
    # The count stops at soc_ceiling, 0.99, until the pack is called full.
    assert max(1.0 - (reset.counted_before or 0.0) for reset in after) < 0.0105
    assert max(1.0 - (reset.counted_before or 0.0) for reset in before) > 0.04


@pytest.mark.parametrize("cause", [cause for cause in PLANTS if cause != "healthy"])
def test_the_chain_leads_down_to_a_number(cause: str) -> None:
    _, explained = story(cause, 0)
    top = explained.top
    assert len(top.chain) >= 2
    assert top.chain[0].sentence.startswith(("The pack was", "By the rules"))
    assert any(char.isdigit() for char in top.chain[-1].sentence)
    assert top.t == top.t
