"""How long many banks take; run with `pytest --benchmark-only tests/world`."""

from __future__ import annotations

from typing import Any

import pytest
from attrs import evolve

from harness.world.charger import Charger
from harness.world.fast import simulate_many
from harness.world.loads import Appliance, LoadEvent, Loads
from tests.world.small_worlds import ORDINARY, branch, settings, world

BANKS = 100


@pytest.mark.benchmark(group="closed loop")
def test_a_hundred_banks_of_four_packs_for_a_day(benchmark: Any) -> None:
    """Controllers, noisy meters, charger, loads and policy, every second; a tenth of the mark."""
    own = settings(hold_s=1200.0)
    packs = [
        branch(
            f"pack {p}",
            0.70 + 0.08 * p,
            settings=own,
            meter=evolve(ORDINARY, voltage_offset_v=0.01 * (p - 1)),
            contact_ohm=0.0005,
            counted_soc=0.5,
        )
        for p in range(4)
    ]
    loads = Loads(
        base_w=150.0,
        appliances=(Appliance(name="kettle", power_w=1800.0, minutes=4.0, per_day=8.0),),
        events=(LoadEvent(name="oven", power_w=2100.0, at="12:30", minutes=20.0),),
    )
    charger = Charger(current_a=60.0)
    banks = [
        world(*packs, hours=24.0, loads=loads, charger=charger, seed=seed) for seed in range(BANKS)
    ]
    simulate_many(banks[:2])
    done = benchmark.pedantic(lambda: simulate_many(banks), rounds=3, iterations=1)
    assert len(done) == BANKS
    assert all(summary.all_reset and stop is None for summary, _, stop in done)
