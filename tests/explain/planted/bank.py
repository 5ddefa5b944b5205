"""The two banks in which causes are planted: a mountain hut and a ferry pier."""

from __future__ import annotations

from typing import Any

import numpy as np
from attrs import evolve

from ctrl.bank import BankSettings
from ctrl.settings import Settings
from harness.world.bank import Branch, World
from harness.world.cell import Cell, Pair
from harness.world.charger import Charger
from harness.world.loads import Appliance, LoadEvent, Loads
from harness.world.meter import Meter
from harness.world.pack import Pack
from harness.world.sun import Sun
from harness.world.wiring import Lead

HOUR_S = 3600.0
CELL = Cell(capacity_ah=280.0, series_ohm=0.00025, pairs=(Pair(ohm=0.0002, tau_s=60.0),))
# What meters of the trade do, common practice, no source: steps of 10 mV and of 10 mA, some noise.
ORDINARY = Meter(
    voltage_noise_v=0.001,
    voltage_step_v=0.01,
    current_noise_a=0.02,
    current_step_a=0.01,
    cell_step_v=0.001,
    temperature_step_c=0.1,
)
KETTLE = Appliance(name="kettle", power_w=1500.0, minutes=5.0, per_day=6.0)
DINNER = LoadEvent(name="dinner", power_w=2000.0, at="18:30", minutes=60.0)
NAMES = ("east", "north", "west", "south")


def hut(seed: int, *, packs: int = 3, hours: float = 16.0, **changes: Any) -> World:
    """The hut's bank of 16 cells a pack on a clear summer day from six in the morning.

    Args:
        seed: of the starting charge, of the small errors of the meters and of the kettle.
        packs: how many, 2 to 4.
        hours: how long it runs.
        changes: of the world.
    """
    draw = np.random.default_rng([seed, 16])
    given: dict[str, Any] = {
        "charger": Charger(current_a=100.0, efficiency=0.96),
        "sun": Sun(peak_w=5500.0),
        "main": Lead(length_m=4.0, mm2=50.0, joints=4),
        "loads": Loads(base_w=120.0, efficiency=0.93, appliances=(KETTLE,), events=(DINNER,)),
        **changes,
    }
    return World(
        name="hut",
        packs=tuple(_branch(name, draw, 16, 0.78) for name in NAMES[:packs]),
        duration_s=hours * HOUR_S,
        bank=given.pop("bank", BankSettings()),
        seed=seed,
        resolved=given.pop("resolved", False),
        **given,
    )


def pier(seed: int, *, hours: float = 12.0, **changes: Any) -> World:
    """The ferry pier's bank of two packs of eight cells; its charger never runs dry."""
    draw = np.random.default_rng([seed, 8])
    given: dict[str, Any] = {
        "charger": Charger(current_a=60.0),
        "main": Lead(length_m=6.0, mm2=35.0, joints=4),
        "loads": Loads(base_w=60.0),
        **changes,
    }
    return World(
        name="pier",
        packs=tuple(_branch(name, draw, 8, 0.75) for name in ("land", "water")),
        duration_s=hours * HOUR_S,
        start_at="07:00",
        bank=given.pop("bank", BankSettings()),
        seed=seed,
        resolved=given.pop("resolved", False),
        **given,
    )


def _branch(name: str, draw: np.random.Generator, cells: int, soc: float) -> Branch:
    return Branch(
        name=name,
        pack=Pack(CELL, cells, soc + float(draw.uniform(-0.03, 0.03)), own_consumption_a=0.03),
        lead=Lead(length_m=2.0, mm2=35.0, joints=4),
        contact_ohm=0.0005,
        meter=evolve(
            ORDINARY,
            voltage_offset_v=round(float(draw.uniform(-0.003, 0.003)), 4),
            current_offset_a=round(float(draw.uniform(-0.03, 0.03)), 3),
        ),
        settings=Settings.for_cells(cells, capacity_ah=280.0),
        counted_soc=None,
    )


def with_pack(world: World, index: int, /, **changes: Any) -> World:
    """The world with something of one pack's branch changed."""
    packs = list(world.packs)
    packs[index] = evolve(packs[index], **changes)
    return evolve(world, packs=tuple(packs))


def with_meter(world: World, pack: int, **changes: Any) -> World:
    """The world with something of one pack's meter changed."""
    return with_pack(world, pack, meter=evolve(world.packs[pack].meter, **changes))


def with_settings(world: World, pack: int | None = None, **changes: Any) -> World:
    """The world with settings of one pack changed, or those of all of them for None."""
    for p in range(len(world.packs)) if pack is None else (pack,):
        world = with_pack(world, p, settings=world.packs[p].settings.changed(**changes))
    return world


def with_bank(world: World, **changes: Any) -> World:
    """The world with something of the bank's policy changed."""
    return evolve(world, bank=evolve(world.bank, **changes))


def with_soc(world: World, soc: float) -> World:
    """The world with all packs about so full at the start, each as much off as before."""
    mean = sum(branch.pack.soc for branch in world.packs) / len(world.packs)
    for p, branch in enumerate(world.packs):
        own = soc + 0.5 * (branch.pack.soc - mean)
        world = with_pack(world, p, pack=evolve(branch.pack, soc=own))
    return world
