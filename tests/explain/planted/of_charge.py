"""A count that drifts, a cell that trips, and a bank with which all is well."""

from __future__ import annotations

from attrs import evolve

from harness.world.loads import Loads
from harness.world.pack import OddCell
from harness.world.sun import Clouds, Sun
from tests.explain.planted.bank import DINNER, hut, pier, with_meter, with_pack
from tests.explain.planted.plant import Planted

# Enough for every pack to be charged anew on the next day.
HUNGRY = Loads(base_w=450.0, efficiency=0.93, events=(DINNER,))


def drifted_counter(k: int) -> Planted:
    """An ammeter that reads low: there are full resets, and the count is wrong until then."""
    world, pack, offset_a = (
        lambda: (hut(191, hours=36.0, loads=HUNGRY), 1, -0.6),
        lambda: (hut(192, packs=2, hours=36.0, loads=HUNGRY), 0, -1.1),
        lambda: (pier(193, hours=40.0), 1, -1.8),
    )[k]()
    return Planted(
        name=f"drifted-counter-{k + 1}",
        cause="drifted_counter",
        pack=pack,
        affected=(pack,),
        story=f"the ammeter of {world.packs[pack].name} reads {offset_a:+g} A",
        world=with_meter(world, pack, current_offset_a=offset_a),
        without=world,
    )


def protection(k: int) -> Planted:
    """One cell comes to its limit before the pack is at the threshold, or during the hold."""
    world, pack, cell = (
        lambda: (hut(201, resolved=True), 1, OddCell(6, capacity_factor=0.95, soc_offset=0.03)),
        lambda: (hut(202, packs=2, resolved=True), 0, OddCell(11, soc_offset=0.0042)),
        lambda: (pier(203, resolved=True), 1, OddCell(3, soc_offset=0.02)),
    )[k]()
    for p, branch in enumerate(world.packs):
        world = with_pack(world, p, pack=evolve(branch.pack, inhibited="charge blocked"))
    branch = world.packs[pack]
    return Planted(
        name=f"protection-{k + 1}",
        cause="protection",
        pack=pack,
        affected=(pack,),
        story=f"cell {cell.number} of {branch.name} stands {100 * cell.soc_offset:g} % higher",
        world=with_pack(world, pack, pack=evolve(branch.pack, odd_cells=(cell,))),
        without=world,
    )


def healthy(k: int) -> Planted:
    """Every pack has its full reset; errors are small, and the weather is what it is."""
    clouds = Clouds(clear_s=2400.0, clouded_s=300.0, transmission=0.5)
    world = (
        lambda: hut(211),
        lambda: hut(212, packs=4, hours=40.0, sun=Sun(peak_w=6500.0, clouds=clouds)),
        lambda: pier(213),
    )[k]()
    return Planted(
        name=f"healthy-{k + 1}",
        cause="healthy",
        pack=None,
        affected=(),
        story="nothing is planted",
        world=world,
        without=world,
    )
