"""Banks that the tests run: sixteen LFP cells a pack, one cell standing for all, short holds."""

from __future__ import annotations

from typing import Any

from ctrl.bank import BankSettings
from ctrl.settings import Settings
from harness.world.bank import Branch, World
from harness.world.cell import Cell, Pair
from harness.world.charger import Charger
from harness.world.meter import Meter
from harness.world.pack import Pack
from harness.world.wiring import Lead

CELL = Cell(capacity_ah=100.0, series_ohm=0.0012, pairs=(Pair(ohm=0.0006, tau_s=30.0),))
# What meters of the trade do, common practice, no source: 10 mV steps, some noise.
ORDINARY = Meter(
    voltage_noise_v=0.003,
    voltage_step_v=0.01,
    current_noise_a=0.05,
    current_step_a=0.01,
    cell_step_v=0.001,
)
EXACT = Meter()


def settings(**changes: Any) -> Settings:
    """The default settings for a pack of 100 Ah, with a hold of ten minutes."""
    return Settings(**{"capacity_ah": 100.0, "charge_current_a": 20.0, "hold_s": 600.0, **changes})


def branch(name: str, soc: float, **changes: Any) -> Branch:
    """A pack behind a short thick lead, with an exact meter."""
    given: dict[str, Any] = {
        "pack": Pack(CELL, soc=soc),
        "lead": Lead(length_m=1.0, mm2=35.0),
        "meter": EXACT,
        "settings": settings(),
        **changes,
    }
    return Branch(name=name, **given)


def world(*packs: Branch, hours: float, policy: str = "every", **changes: Any) -> World:
    """These packs on a charger of 20 A that never runs dry."""
    given: dict[str, Any] = {
        "main": Lead(length_m=4.0, mm2=50.0),
        "charger": Charger(current_a=20.0),
        "bank": BankSettings(policy=policy),
        "resolved": False,
        **changes,
    }
    return World(name="small", packs=packs, duration_s=hours * 3600.0, **given)
