"""Causes that come at the wrong moment: loads, clouds, another pack, gaps, a clock."""

from __future__ import annotations

from functools import cache

from attrs import evolve

from harness.world.bank import World
from harness.world.cell import Cell, Pair
from harness.world.charger import Charger
from harness.world.fast import simulate_many
from harness.world.loads import LoadEvent, Loads
from harness.world.sun import Cloud
from harness.world.wiring import Lead
from tests.explain.planted.bank import (
    HOUR_S,
    KETTLE,
    hut,
    pier,
    with_bank,
    with_meter,
    with_pack,
    with_settings,
    with_soc,
)
from tests.explain.planted.plant import ClockSteps, Planted

# A small cell, and one that has aged: it takes its charge more slowly.
NEW = Cell(capacity_ah=100.0, series_ohm=0.0009, pairs=(Pair(ohm=0.0006, tau_s=60.0),))
AGED = Cell(capacity_ah=100.0, series_ohm=0.0018, pairs=(Pair(ohm=0.0012, tau_s=60.0),))


def load_at_recheck(k: int) -> Planted:
    """A load that the charger cannot carry, at the end of the hold."""
    packs, power_w, load_w, seed = (
        (3, 900.0, 1600.0, 141),
        (2, 800.0, 2100.0, 142),
        (4, 1300.0, 3000.0, 143),
    )[k]
    world = hut(
        seed,
        packs=packs,
        charger=Charger(current_a=60.0, power_w=power_w, efficiency=0.96),
        loads=Loads(base_w=60.0, efficiency=0.93),
    )
    world = with_soc(world, 0.93)
    at = _clock(world, _hold_end_s(world) - 6 * 60.0)
    event = LoadEvent(name="oven", power_w=load_w, at=at, minutes=20.0)
    return Planted(
        name=f"load-at-recheck-{k + 1}",
        cause="load_at_recheck",
        pack=None,
        affected=tuple(range(packs)),
        story=f"{load_w:g} W from {at} on, with a charger of {power_w:g} W",
        world=evolve(world, loads=evolve(world.loads, events=(event,))),
        without=world,
    )


def cloud(k: int) -> Planted:
    """The sun goes: at the recheck, or before the threshold is reached."""
    world = (
        lambda: hut(151, loads=Loads(base_w=300.0, efficiency=0.93)),
        lambda: hut(152, packs=2, loads=Loads(base_w=250.0, efficiency=0.93)),
        lambda: hut(153, loads=Loads(base_w=150.0, efficiency=0.93, appliances=(KETTLE,))),
    )[k]()
    assert world.sun is not None
    if k < 2:
        at, minutes, share = _clock(world, _hold_end_s(world) - 20 * 60.0), 90.0, 0.02
    else:
        at, minutes, share = "08:40", 660.0, 0.04
    front = Cloud(at=at, minutes=minutes, transmission=share)
    return Planted(
        name=f"cloud-{k + 1}",
        cause="cloud",
        pack=None,
        affected=tuple(range(len(world.packs))),
        story=f"clouds from {at} on let {share:.0%} through for {minutes / 60:g} h",
        world=evolve(world, sun=evolve(world.sun, passing=(front,))),
        without=world,
    )


def lead_pack_early(k: int) -> Planted:
    """A fuller pack finishes first, and the bank follows it."""
    world, lead, policy = (
        lambda: (_one_fuller(hut(161), 0, 0.97, 0.62), 0, "lead"),
        lambda: (_one_fuller(hut(162, packs=2), 1, 0.96, 0.60), 1, "lead"),
        lambda: (_one_fuller(hut(163, packs=4), 2, 0.97, 0.66), 2, "any"),
    )[k]()
    followers = tuple(p for p in range(len(world.packs)) if p != lead)
    return Planted(
        name=f"lead-pack-early-{k + 1}",
        cause="lead_pack_early",
        pack=lead,
        affected=followers,
        story=f"{world.packs[lead].name} is fuller, and the policy is {policy}",
        world=with_bank(world, policy=policy, lead=lead),
        without=world,
    )


def _one_fuller(world: World, lead: int, lead_soc: float, soc: float) -> World:
    """Aged packs of 100 Ah beside one that is new and fuller, on a strong generator."""
    followers = len(world.packs) - 1
    world = with_settings(with_soc(world, soc), capacity_ah=100.0, entry_v=55.93, full_v=55.7)
    for p, branch in enumerate(world.packs):
        pack = evolve(branch.pack, cell=AGED)
        if p == lead:
            pack = evolve(branch.pack, cell=NEW, soc=lead_soc)
        world = with_pack(world, p, pack=pack)
    return evolve(
        world,
        sun=None,
        charger=Charger(current_a=65.0 * followers),
        main=Lead(length_m=2.0, mm2=120.0, joints=4),
    )


def gap(k: int) -> Planted:
    """Samples of one pack are lost for minutes, again and again."""
    world, pack, every_s, lost_s = (
        lambda: (hut(171), 1, 2400.0, 180.0),
        lambda: (hut(172, packs=4), 0, 3000.0, 420.0),
        lambda: (pier(173), 1, 1500.0, 45.0),
        lambda: (hut(174, packs=2), 1, 2700.0, 240.0),
    )[k]()
    windows = tuple(
        (first_s, first_s + lost_s)
        for first_s in (1.5 * HOUR_S + n * every_s for n in range(100))
        if first_s + lost_s < world.duration_s
    )
    name = world.packs[pack].name
    return Planted(
        name=f"gap-{k + 1}",
        cause="gap",
        pack=pack,
        affected=(pack,),
        story=f"{lost_s:g} s of {name} are lost every {every_s / 60:g} min",
        world=with_meter(world, pack, outages=windows),
        without=world,
    )


def clock_jump(k: int) -> Planted:
    """The clock of one controller is set back, again and again."""
    world, clock = (
        lambda: (hut(181), ClockSteps(1, 2.0 * HOUR_S, 1800.0, 8.0)),
        lambda: (hut(182, packs=2), ClockSteps(0, 2.2 * HOUR_S, 2700.0, 300.0)),
        lambda: (pier(183), ClockSteps(1, 1.5 * HOUR_S, 3300.0, 60.0)),
    )[k]()
    name = world.packs[clock.pack].name
    return Planted(
        name=f"clock-jump-{k + 1}",
        cause="clock_jump",
        pack=clock.pack,
        affected=(clock.pack,),
        story=f"the clock of {name} is set back by {clock.back_s:g} s every"
        f" {clock.every_s / 60:g} min",
        world=world,
        without=world,
        clock=clock,
    )


@cache
def _hold_end_s(world: World) -> float:
    """When the first hold of a bank ends with a full reset, s since the start."""
    ((_, events, _),) = simulate_many([world])
    return next(event.t for event in events if event.name == "full_reset")


def _clock(world: World, t: float) -> str:
    """The time of day of a moment, to the minute before it."""
    minutes = int((world.start_s + t) // 60.0)
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"
