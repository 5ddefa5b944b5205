"""Cells that differ, and what evens them out."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest
from attrs import evolve

from harness.world.cell import Cell, Pair
from harness.world.curves import affine
from harness.world.network import ChargerLimits, Switch
from harness.world.pack import Balancer, OddCell, Pack, Spread
from harness.world.plant import Plant, PlantSpec

CELL = Cell(100.0, 1e-3, (Pair(0.5e-3, 30.0),), curve=affine(3.2, 0.2))
NO_CHARGER = ChargerLimits(0.0, 0.0)
OPEN = [Switch.OPEN]


def rest(plant: Plant, seconds: int, dt_s: float = 1.0) -> None:
    for _ in range(round(seconds / dt_s)):
        plant.advance(dt_s, NO_CHARGER, 0.0, OPEN)


def test_the_same_seed_draws_the_same_cells() -> None:
    pack = Pack(CELL, spread=Spread(0.02, 0.01, 0.05, seed=3))
    other = evolve(pack, spread=evolve(pack.spread, seed=4))
    first, again = pack.drawn(), pack.drawn()
    assert all(np.array_equal(a, b) for a, b in zip(first, again, strict=True))
    assert not np.array_equal(first.capacity_ah, other.drawn().capacity_ah)


def test_spread_is_as_wide_as_asked_and_cut_at_three_deviations() -> None:
    drawn = Pack(CELL, 1000, 0.5, Spread(0.02, 0.01, 0.05, seed=1)).drawn()
    for values, mean, deviation in (
        (drawn.capacity_ah, 100.0, 2.0), (drawn.soc, 0.5, 0.01), (drawn.resistance_factor, 1.0, 0.05),
    ):  # fmt: skip
        assert values.mean() == pytest.approx(mean, abs=0.15 * deviation)
        assert values.std() == pytest.approx(deviation, rel=0.1)
        assert np.max(np.abs(values - mean)) <= 3.0 * deviation + 1e-12


def test_like_cells_on_their_own_go_as_one_mean_cell() -> None:
    packs = [Pack(CELL, 16, 0.3), Pack(evolve(CELL, capacity_ah=80.0), 16, 0.35)]
    apart = [
        Plant(PlantSpec(packs, [1e-3] * 2, 2e-3, resolved=resolved)) for resolved in (True, False)
    ]
    for _ in range(600):
        for plant in apart:
            plant.advance(1.0, ChargerLimits(56.0, 60.0, regulated_ohm=2e-3), 3.0)
    assert apart[0].state.terminal_v == pytest.approx(apart[1].state.terminal_v, abs=1e-9)
    assert apart[0].state.cell_max_v == pytest.approx(apart[1].state.cell_max_v, abs=1e-10)


def test_a_weak_cell_fills_first_and_shows_in_the_highest_voltage() -> None:
    """Half the capacity: after 10 Ah it has gained 0.2 where the others gained 0.1."""
    pack = Pack(CELL, 8, 0.5, odd_cells=(OddCell(5, capacity_factor=0.5, soc_offset=0.05),))
    plant = Plant(PlantSpec([pack], [0.0]))
    for _ in range(360):
        plant.advance(10.0, ChargerLimits(inf, 10.0))
    assert plant.state.soc[0, 5] == pytest.approx(0.75, abs=1e-9)
    assert plant.state.soc[0, [0, 7]] == pytest.approx([0.6, 0.6], abs=1e-9)
    assert plant.state.cell_max_v[0] == pytest.approx(3.2 + 0.15 + 0.015, abs=1e-9)
    assert plant.state.cell_v[0].argmax() == 5
    assert plant.state.cell_v[0].sum() == pytest.approx(plant.state.terminal_v[0], abs=1e-9)


def unlike(balancer: Balancer) -> Plant:
    """Two cells 20 mV apart, a third between, at rest: SoC 0.5, 0.6 and 0.55."""
    odd = (OddCell(1, soc_offset=0.1), OddCell(2, soc_offset=0.05))
    cell = evolve(CELL, pairs=())
    return Plant(PlantSpec([Pack(cell, 3, 0.5, odd_cells=odd, balancer=balancer)], [0.0]))


def test_a_passive_balancer_bleeds_what_lies_above_the_spread() -> None:
    """12 mV of spread: only the highest cell lies above; 1 A for 360 s takes 0.001."""
    plant = unlike(Balancer("passive", current_a=1.0, start_spread_v=0.012))
    rest(plant, 360)
    assert plant.state.soc[0] == pytest.approx([0.5, 0.599, 0.55], abs=1e-12)
    assert list(plant.state.out_a[0]) == [0.0, 1.0, 0.0]


def test_a_passive_balancer_rests_once_the_spread_is_small() -> None:
    """Bled cells show 1 mΩ · 1 A less: it stops at 12 mV + 1 mV, 0.565, after 12600 s, and again at 12."""
    plant = unlike(Balancer("passive", current_a=1.0, start_spread_v=0.012))
    rest(plant, 40_000, 10.0)
    assert plant.state.soc[0] == pytest.approx([0.5, 0.56, 0.55], abs=1e-3)
    settled = plant.state.soc.copy()
    rest(plant, 10_000, 10.0)
    assert plant.state.soc == pytest.approx(settled, abs=1e-12)
    assert not plant.state.out_a.any()


def test_a_balancer_waits_for_its_voltage() -> None:
    plant = unlike(Balancer("passive", current_a=1.0, start_spread_v=0.001, start_v=3.4))
    rest(plant, 360)
    assert plant.state.soc[0] == pytest.approx([0.5, 0.6, 0.55], abs=1e-12)


def test_an_active_balancer_moves_charge_from_the_highest_to_the_lowest() -> None:
    """2 A at 0.9 for 360 s: 0.002 out of one, 0.0018 into the other."""
    plant = unlike(Balancer("active", current_a=2.0, start_spread_v=0.005, efficiency=0.9))
    rest(plant, 360)
    assert plant.state.soc[0] == pytest.approx([0.5018, 0.598, 0.55], abs=1e-12)


def test_own_consumption_comes_out_of_every_cell() -> None:
    """0.1 A for 10 h on 100 Ah, with the pack connected and idle."""
    pack = Pack(evolve(CELL, pairs=()), 4, 0.5, own_consumption_a=0.1)
    plant = Plant(PlantSpec([pack], [0.0]))
    plant.advance(0.0, NO_CHARGER)
    assert plant.state.terminal_v[0] == pytest.approx(4.0 * (3.3 - 1e-4), abs=1e-12)
    for _ in range(3600):
        plant.advance(10.0, NO_CHARGER)
    assert plant.state.soc[0] == pytest.approx([0.49] * 4, abs=1e-12)
    assert plant.state.pack_a[0] == pytest.approx(0.0, abs=1e-9)
    # Its own current costs 0.1 mV in each cell's milliohm.
    assert plant.state.terminal_v[0] == pytest.approx(4.0 * (3.298 - 1e-4), abs=1e-9)
