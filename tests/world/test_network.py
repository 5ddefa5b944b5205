"""Stars and ladders of packs against nodal solutions, and what a charger adds to them."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import InputError
from harness.world.cell import Cell
from harness.world.curves import affine
from harness.world.network import Bound, ChargerLimits, Switch, ladder_currents
from harness.world.pack import Pack
from harness.world.plant import Plant, PlantSpec

OHM = 0.02
UNEQUAL_V, UNEQUAL_OHM = (52.9, 52.6, 52.7), (0.020, 0.025, 0.030)
FREE = ChargerLimits(voltage_v=100.0, current_a=60.0)


def star(main_ohm: float = 0.0, lead_ohm: float = 0.0) -> Plant:
    """Three packs of one cell on the line 52 V + SoC: a voltage behind a resistance each."""
    line = affine(52.0, 1.0)
    packs = [
        Pack(Cell(100.0, ohm, curve=line), count=1, soc=volts - 52.0)
        for volts, ohm in zip(UNEQUAL_V, UNEQUAL_OHM, strict=True)
    ]
    return Plant(PlantSpec(packs, [lead_ohm] * 3, main_ohm))


def test_three_unequal_branches() -> None:
    """V = (ΣU/R + I) / Σ(1/R) with 52.9/52.6/52.7 V, 20/25/30 mΩ, 60 A: bus 53.235135 V."""
    plant = star()
    settled = plant.advance(0.0, FREE)
    assert settled.bus_v == pytest.approx(53.235135135, abs=1e-9)
    assert plant.state.pack_a == pytest.approx([16.756756757, 25.405405405, 17.837837838], abs=1e-8)
    assert plant.state.bound == Bound.CURRENT


def test_the_main_cable_drops_beside_the_bus() -> None:
    settled = star(main_ohm=0.01).advance(0.0, FREE)
    assert settled.bus_v == pytest.approx(53.235135135, abs=1e-9)
    assert settled.charger_v == pytest.approx(53.835135135, abs=1e-9)


def test_terminals_lie_before_the_lead() -> None:
    """With 5 mΩ of lead each: branches of 25/30/35 mΩ, by the same formula."""
    plant = star(lead_ohm=0.005)
    bus_v = plant.advance(0.0, FREE).bus_v
    assert bus_v == pytest.approx(53.334579439, abs=1e-8)
    assert plant.state.terminal_v == pytest.approx(bus_v - 0.005 * plant.state.pack_a, abs=1e-12)


def test_a_load_takes_from_packs_and_charger() -> None:
    settled = star().advance(0.0, FREE, load_a=60.0)
    assert settled.bus_v == pytest.approx(52.748648649, abs=1e-8)


def test_voltage_bounds_at_the_charger_or_at_the_bus() -> None:
    """53.235135 V takes 60 A; with the main cable's 10 mΩ the terminals then lie 0.6 V higher."""
    at_bus = ChargerLimits(53.235135135, 1000.0, regulated_ohm=0.0)
    at_terminals = ChargerLimits(53.835135135, 1000.0, regulated_ohm=0.01)
    for limits in (at_bus, at_terminals):
        plant = star(main_ohm=0.01)
        assert plant.advance(0.0, limits).charger_a == pytest.approx(60.0, abs=1e-6)
        assert plant.state.bound == Bound.VOLTAGE


def test_power_bounds_at_the_charger_terminals() -> None:
    """60 A at 53.835135 V are 3230.1081 W."""
    plant = star(main_ohm=0.01)
    settled = plant.advance(0.0, ChargerLimits(100.0, 1000.0, power_w=3230.108108))
    assert settled.charger_a == pytest.approx(60.0, abs=1e-6)
    assert settled.charger_a * settled.charger_v == pytest.approx(3230.108108, abs=1e-6)
    assert plant.state.bound == Bound.POWER


def test_a_charger_takes_no_current_back() -> None:
    """Without charger the bus lies at ΣU/R / Σ(1/R) = 52.748649 V; packs even out among themselves."""
    plant = star()
    settled = plant.advance(0.0, ChargerLimits(52.7, 1000.0))
    assert settled.charger_a == 0.0
    assert settled.bus_v == pytest.approx(52.748648649, abs=1e-8)
    assert plant.state.bound == Bound.OFF


def test_an_open_pack_carries_nothing() -> None:
    """52.6 and 52.7 V behind 25 and 30 mΩ, 60 A."""
    plant = star()
    settled = plant.advance(0.0, FREE, switches=[Switch.OPEN, Switch.CLOSED, Switch.CLOSED])
    assert settled.bus_v == pytest.approx(53.463636364, abs=1e-8)
    assert plant.state.pack_a[0] == 0.0
    assert plant.state.terminal_v[0] == pytest.approx(52.9, abs=1e-9)


def test_a_pack_blocked_for_charge_still_discharges() -> None:
    blocked = [Switch.CHARGE_BLOCKED, Switch.CLOSED, Switch.CLOSED]
    charging, loaded = star(), star()
    charging.advance(0.0, FREE, switches=blocked)
    loaded.advance(0.0, ChargerLimits(0.0, 0.0), load_a=60.0, switches=blocked)
    assert charging.state.pack_a[0] == 0.0
    assert charging.state.terminal_v[0] == pytest.approx(52.9, abs=1e-9)
    # As if it were closed: 51.775676 V at 60 A of load.
    assert loaded.state.pack_a == pytest.approx(
        [-31.891891892, -13.513513514, -14.594594595], abs=1e-6
    )


def test_blocked_packs_take_over_from_the_highest_down() -> None:
    """All blocked: the charger's 20 A of the load's 60 A leave 40 A to those above the bus."""
    plant = star()
    settled = plant.advance(
        0.0, ChargerLimits(100.0, 20.0), load_a=60.0, switches=[Switch.CHARGE_BLOCKED] * 3
    )
    assert settled.bus_v == pytest.approx(52.424324324, abs=1e-8)
    light = plant.advance(
        0.0, ChargerLimits(100.0, 58.0), load_a=60.0, switches=[Switch.CHARGE_BLOCKED] * 3
    )
    # 2 A through 20 mΩ: 52.86 V, above the two others.
    assert light.bus_v == pytest.approx(52.86, abs=1e-9)
    assert plant.state.pack_a == pytest.approx([-2.0, 0.0, 0.0], abs=1e-9)


def test_without_packs_the_charger_carries_the_load_or_nobody_does() -> None:
    plant, open_ = star(main_ohm=0.01), [Switch.OPEN] * 3
    alone = plant.advance(0.0, ChargerLimits(54.0, 60.0, regulated_ohm=0.01), 10.0, open_)
    assert alone == pytest.approx((53.9, 54.0, 10.0), abs=1e-9)
    dark = plant.advance(0.0, ChargerLimits(54.0, 5.0, regulated_ohm=0.01), 10.0, open_)
    assert dark == (0.0, 0.0, 0.0)
    assert plant.state.bound == Bound.DARK


@pytest.mark.parametrize(
    ("fed", "currents"),
    [
        ("one end", [26.09761, 20.70737, 17.38787, 15.80715]),
        ("opposite ends", [20.95238, 19.04762, 19.04762, 20.95238]),
    ],
)
def test_ladder_of_four_equal_packs(fed: str, currents: list[float]) -> None:
    """20 mΩ, 1 mΩ a rail segment, 80 A.

    One end: nodal solution = recursion of arXiv:2508.14454 (Lone et al.) = liionpack 0.4.0; opposite
    ends: liionpack 0.4.0.
    """
    shared = ladder_currents([52.0] * 4, [OHM] * 4, 1e-3, 80.0, fed=fed)  # type: ignore[arg-type]
    assert shared == pytest.approx(currents, abs=1e-5)


def test_a_ladder_without_rails_is_a_star() -> None:
    shared = ladder_currents(UNEQUAL_V, UNEQUAL_OHM, 1e-9, 60.0)
    assert shared == pytest.approx([16.756757, 25.405405, 17.837838], abs=1e-4)
    assert ladder_currents([52.0], [OHM], 0.0, 60.0) == pytest.approx([60.0])


def test_a_ladder_of_no_resistance_is_refused() -> None:
    with pytest.raises(InputError, match="ohm"):
        ladder_currents([52.0, 52.0], [OHM, 0.0], 1e-3, 80.0)
    with pytest.raises(InputError, match="rail_ohm"):
        ladder_currents([52.0, 52.0], [OHM, OHM], 0.0, 80.0)
    with pytest.raises(InputError, match="ohm"):
        ladder_currents([52.0, 52.0], np.array([OHM]), 1e-3, 80.0)
