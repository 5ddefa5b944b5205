"""Where currents bend or jump: coarse steps against fine ones, and long rests without fuss."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest

from harness.world import rows
from harness.world.cell import Cell, Pair
from harness.world.curves import affine
from harness.world.network import Bound, ChargerLimits, Switch
from harness.world.pack import Pack
from harness.world.plant import Plant, PlantSpec

LINE = affine(52.0, 2.0)
NO_CHARGER = ChargerLimits(0.0, 0.0)


def bank(*socs: float, pairs: tuple[Pair, ...] = ()) -> PlantSpec:
    """Packs of 100 Ah behind 20 mΩ on the line 52 V + 2 V · SoC."""
    cell = Cell(100.0, 0.020, pairs, curve=LINE)
    return PlantSpec([Pack(cell, count=1, soc=soc) for soc in socs], [0.002] * len(socs), 0.005)


def after(
    spec: PlantSpec, seconds: float, dt_s: float, limits: ChargerLimits, load_a: float,
    switches: list[Switch],
) -> Plant:  # fmt: skip
    plant = Plant(spec)
    for _ in range(round(seconds / dt_s)):
        plant.advance(dt_s, limits, load_a, switches)
    return plant


def test_a_blocked_pack_joins_in_the_middle_of_a_step() -> None:
    """The closed pack sags under 30 A until the bus falls to the blocked pack's 52.6 V, and both carry.

    From 53.4 V less 0.66 V in 22 mΩ it falls by 2 V · 30 A / 360000 A·s: 840 s.
    """
    spec = bank(0.7, 0.3)
    switches = [Switch.CLOSED, Switch.CHARGE_BLOCKED]
    before = after(spec, 836.0, 4.0, NO_CHARGER, 30.0, switches)
    assert before.state.pack_a[1] == 0.0
    for dt_s in (900.0, 9.0, 1.0):
        coarse = after(spec, 900.0, dt_s, NO_CHARGER, 30.0, switches)
        fine = after(spec, 900.0, 0.1, NO_CHARGER, 30.0, switches)
        assert coarse.state.soc == pytest.approx(fine.state.soc, abs=2e-7)
        assert coarse.state.pack_a == pytest.approx(fine.state.pack_a, abs=2e-3)
        assert fine.state.pack_a[1] < -0.1


def test_the_charger_comes_back_when_the_bus_has_relaxed_to_its_voltage() -> None:
    """Off above 53.3 V; a load of 10 A brings a bank of 0.75 down to it, and then the charger holds."""
    spec, limits = bank(0.75, 0.75), ChargerLimits(53.3, 50.0, regulated_ohm=0.005)
    start = Plant(spec)
    start.advance(1.0, limits, 10.0)
    assert start.state.bound == Bound.OFF
    coarse = after(spec, 6000.0, 60.0, limits, 10.0, [Switch.CLOSED] * 2)
    fine = after(spec, 6000.0, 0.5, limits, 10.0, [Switch.CLOSED] * 2)
    assert fine.state.bound == Bound.VOLTAGE
    assert coarse.state.soc == pytest.approx(fine.state.soc, abs=1e-6)
    assert coarse.state.terminal_v == pytest.approx(fine.state.terminal_v, abs=2e-6)


def test_power_current_and_voltage_take_turns_within_long_steps() -> None:
    spec = bank(0.2, 0.25, pairs=(Pair(0.01, 2000.0),))
    limits = ChargerLimits(53.7, 40.0, 2130.0, 0.005)
    coarse = after(spec, 20_000.0, 50.0, limits, 0.0, [Switch.CLOSED] * 2)
    fine = after(spec, 20_000.0, 1.0, limits, 0.0, [Switch.CLOSED] * 2)
    assert coarse.state.soc == pytest.approx(fine.state.soc, abs=2e-6)
    assert coarse.state.arrays.bank[rows.PIECES] == 400 + 2


def test_an_idle_float_day_stays_in_whole_steps() -> None:
    """Charger and packs settle at the same voltage; noise in the last digit is no change of bound."""
    plant = Plant(bank(0.6, 0.62, 0.58))
    limits = ChargerLimits(53.2, 50.0, regulated_ohm=0.005)
    for _ in range(3000):
        plant.advance(30.0, limits)
    assert plant.state.terminal_v == pytest.approx([53.2] * 3, abs=1e-6)
    assert plant.state.arrays.bank[rows.PIECES] <= 3000 + 3


def test_a_step_of_no_length_only_lets_currents_jump() -> None:
    plant = Plant(bank(0.5))
    soc = plant.state.soc.copy()
    settled = plant.advance(0.0, ChargerLimits(inf, 20.0))
    # 53 V and 20 A through 20 and 2 mΩ, then 5 mΩ of main cable.
    assert settled == pytest.approx((53.44, 53.54, 20.0), abs=1e-12)
    assert plant.state.terminal_v[0] == pytest.approx(53.4, abs=1e-12)
    assert np.array_equal(plant.state.soc, soc)


def test_a_load_that_jumps_is_carried_at_once() -> None:
    plant = Plant(bank(0.5))
    plant.advance(1.0, NO_CHARGER, 10.0)
    plant.advance(0.0, NO_CHARGER, 30.0)
    assert plant.state.pack_a[0] == pytest.approx(-30.0, abs=1e-12)
    assert plant.state.soc[0, 0] == pytest.approx(0.5 - 10.0 / 360_000.0, abs=1e-13)


def test_another_regulated_point_counts_at_once() -> None:
    """53.44 V at the bus and 53.54 V at the terminals let the same 20 A into 53 V behind 22 mΩ."""
    plant = Plant(bank(0.5))
    for limits in (ChargerLimits(53.54, 90.0, regulated_ohm=0.005), ChargerLimits(53.54, 90.0)):
        plant.advance(0.0, limits)
    assert plant.state.pack_a[0] == pytest.approx(0.54 / 0.022, abs=1e-9)
    plant.advance(0.0, ChargerLimits(53.54, 90.0, regulated_ohm=0.005))
    assert plant.state.pack_a[0] == pytest.approx(20.0, abs=1e-9)


def test_a_current_that_turns_within_a_step_is_counted_by_its_parts() -> None:
    """The fuller of two packs first discharges into the other, then charges: 0.8 of that part counts."""
    cell = Cell(100.0, 0.005, curve=LINE, coulombic_efficiency=0.8)
    plant = Plant(PlantSpec([Pack(cell, count=1, soc=soc) for soc in (0.5, 0.45)], [0.0] * 2))
    turned = False
    for _ in range(20):
        plant.advance(0.0, ChargerLimits(inf, 5.0))
        start_a, soc = float(plant.state.pack_a[0]), float(plant.state.soc[0, 0])
        plant.advance(200.0, ChargerLimits(inf, 5.0))
        line_a = np.linspace(start_a, float(plant.state.pack_a[0]), 20_001)
        counted_a = np.where(line_a > 0.0, 0.8 * line_a, line_a)
        moved_soc = float(np.trapezoid(counted_a, dx=0.01)) / 360_000.0
        assert plant.state.soc[0, 0] - soc == pytest.approx(moved_soc, abs=1e-10)
        turned |= start_a < -0.1 and line_a[-1] > 0.1
    assert turned


@pytest.mark.parametrize("load_a", [0.0, 12.0])
def test_cells_and_terminals_agree_to_the_last_digits(load_a: float) -> None:
    """Where charge is lost on the way in, with hysteresis, while charging and while discharging."""
    cell = Cell(
        100.0, 0.005, (Pair(0.002, 30.0),), curve=LINE, coulombic_efficiency=0.8, hysteresis_v=0.02
    )
    plant = Plant(PlantSpec([Pack(cell, count=1, soc=soc) for soc in (0.5, 0.49)], [0.001] * 2))
    for k in range(400):
        plant.advance(1.0, ChargerLimits(inf, 5.0), load_a)
        if k > 100:
            assert plant.state.cell_v[:, 0] == pytest.approx(plant.state.terminal_v, abs=1e-9)


def test_a_switch_that_opens_counts_at_once() -> None:
    plant, limits = Plant(bank(0.5, 0.5)), ChargerLimits(inf, 20.0)
    plant.advance(1.0, limits, 0.0, [Switch.CLOSED, Switch.CLOSED])
    plant.advance(0.0, limits, 0.0, [Switch.OPEN, Switch.CLOSED])
    assert plant.state.pack_a == pytest.approx([0.0, 20.0], abs=1e-12)
    plant.advance(1.0, limits)
    assert plant.state.pack_a == pytest.approx([10.0, 10.0], abs=1e-2)


def test_energy_is_counted_at_charger_and_load() -> None:
    """20 A at some 53.54 V for 100 s, 5 A of load at the bus 0.1 V lower: Wh."""
    plant = Plant(bank(0.5))
    for _ in range(100):
        plant.advance(1.0, ChargerLimits(inf, 20.0), 5.0)
    assert plant.state.charger_wh == pytest.approx(20.0 * 53.4341667 / 36.0, rel=1e-6)
    assert plant.state.load_wh == pytest.approx(5.0 * 53.3341667 / 36.0, rel=1e-6)
