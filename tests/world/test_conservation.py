"""Whatever the bank and the day: currents add up, charge is kept, energy is stored or lost."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.world import rows
from harness.world.cell import Cell
from harness.world.network import Bound, ChargerLimits
from harness.world.pack import Pack
from harness.world.plant import Code, Plant, PlantError, PlantSpec
from tests.world.any_bank import Hour, banks, hours

Floats = npt.NDArray[np.float64]

# What the bank itself may end with: it was emptied, overfilled, or could not carry its load.
LAWFUL_ENDS = {Code.BUS_VOLTAGE, Code.SOC}


@st.composite
def banks_and_hours(draw: st.DrawFn, *, plain: bool) -> tuple[PlantSpec, list[Hour]]:
    spec = draw(banks(plain=plain))
    return spec, draw(hours(spec))


def steps_of(spec: PlantSpec, day: list[Hour]) -> Any:
    """Take every step; yield the plant after each, with what it was asked for."""
    plant = Plant(spec)
    for hour in day:
        plant.state.resistance_factor[:] = spec.resistance_factors(hour.temp_c)
        for _ in range(hour.steps):
            yield plant, hour


def go(plant: Plant, hour: Hour, dt_s: float) -> bool:
    """Take a step; False if the bank had a lawful reason to end."""
    try:
        plant.advance(dt_s, hour.limits, hour.load_a, hour.switches)
    except PlantError as ended:
        if ended.code not in LAWFUL_ENDS:
            raise
        return False
    return True


@given(banks_and_hours(plain=False))
def test_currents_meet_at_the_bus_and_nothing_is_ever_not_a_number(
    drawn: tuple[PlantSpec, list[Hour]],
) -> None:
    for plant, hour in steps_of(*drawn):
        if not go(plant, hour, hour.dt_s):
            break
        state, bank = plant.state, plant.state.arrays.bank
        assert all(
            np.all(np.isfinite(array)) for array in (state.soc, state.cell_v, state.terminal_v)
        )
        charger_a, dark = bank[rows.CHARGER_A], state.bound == Bound.DARK
        load_a = 0.0 if dark else hour.load_a
        scale_a = 1.0 + abs(charger_a) + load_a + np.abs(state.pack_a).sum()
        assert charger_a - load_a == pytest.approx(state.pack_a.sum(), abs=1e-9 * scale_a)
        # Ohm's law of the main cable and of every lead.
        assert bank[rows.CHARGER_V] - bank[rows.BUS_V] == pytest.approx(
            plant.spec.main_ohm * charger_a, abs=1e-9 * scale_a
        )
        # No bound is passed, and the charger takes nothing back.
        regulated_v = bank[rows.BUS_V] + hour.limits.regulated_ohm * charger_a
        assert 0.0 <= charger_a <= hour.limits.current_a + 1e-9
        assert charger_a == 0.0 or regulated_v <= hour.limits.voltage_v + 1e-7
        assert charger_a * bank[rows.CHARGER_V] <= hour.limits.power_w + 1e-6
        # A switch that is open carries nothing, one that blocks charging no charge.
        for pack_a, switch in zip(state.pack_a, hour.switches, strict=True):
            assert switch == 0 or pack_a == 0.0 or (switch == 2 and pack_a < 1e-9)


@given(banks_and_hours(plain=True))
def test_charge_is_kept(drawn: tuple[PlantSpec, list[Hour]]) -> None:
    """With no losses of charge every cell holds the integral of its pack's current, to the last digit."""
    spec, _ = drawn
    capacity_as = spec.arrays.cells[:, :, rows.CAPACITY_AS]
    for plant, hour in steps_of(*drawn):
        if not go(plant, hour, 0.0):
            break
        start_a, soc = plant.state.pack_a.copy(), plant.state.soc.copy()
        pieces = plant.state.arrays.bank[rows.PIECES]
        if not go(plant, hour, hour.dt_s):
            break
        moved_as = (plant.state.soc - soc) * capacity_as
        assert np.ptp(moved_as, axis=1) == pytest.approx(0.0, abs=1e-6)
        if plant.state.arrays.bank[rows.PIECES] == pieces + 1.0:
            line_as = 0.5 * hour.dt_s * (start_a + plant.state.pack_a)
            assert moved_as[:, 0] == pytest.approx(line_as, rel=1e-6, abs=1e-6)


class Energies:
    """Where energy went since the start, J, by states and currents."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.soc_from = plant.state.soc.copy()
        self.lost_j, self.moved_j, self.blurred_j = 0.0, 0.0, 0.0

    def stored_j(self) -> float:
        """In the cells as open-circuit voltage times charge, and in the capacitors of their pairs."""
        spec, state = self.plant.spec, self.plant.state
        cells, series = spec.arrays.cells, spec.arrays.packs[:, rows.SERIES, None]
        curve = spec.packs[0].cell.curve
        path = self.soc_from + np.linspace(0.0, 1.0, 4097)[:, None, None] * (
            state.soc - self.soc_from
        )
        chemical = np.trapezoid(curve.voltage_v(path), path, axis=0) * cells[:, :, rows.CAPACITY_AS]
        total = float((series * chemical).sum())
        for volts, ohm, tau_s in (
            (rows.PAIR_1_V, rows.PAIR_1_OHM, rows.PAIR_1_S),
            (rows.PAIR_2_V, rows.PAIR_2_OHM, rows.PAIR_2_S),
        ):
            ohms = cells[:, :, ohm] * state.resistance_factor[:, None]
            farads = np.divide(cells[:, :, tau_s], ohms, out=np.zeros_like(ohms), where=ohms > 0.0)
            total += float((series * 0.5 * farads * state.arrays.cells[:, :, volts] ** 2).sum())
        return total

    def heat_w(self, pack_a: Floats, charger_a: float) -> float:
        """In cells, pairs, leads and main cable."""
        spec, state = self.plant.spec, self.plant.state
        cells, series = spec.arrays.cells, spec.arrays.packs[:, rows.SERIES, None]
        factor = state.resistance_factor[:, None]
        watts = cells[:, :, rows.OHM] * factor * pack_a[:, None] ** 2
        for volts, ohm in ((rows.PAIR_1_V, rows.PAIR_1_OHM), (rows.PAIR_2_V, rows.PAIR_2_OHM)):
            ohms = cells[:, :, ohm] * factor
            pair_v = state.arrays.cells[:, :, volts]
            watts += np.divide(pair_v**2, ohms, out=np.zeros_like(ohms), where=ohms > 0.0)
        leads_w = spec.arrays.packs[:, rows.LEAD_OHM] * pack_a**2
        return float((series * watts).sum() + leads_w.sum() + spec.main_ohm * charger_a**2)


@given(banks(plain=True), st.data())
def test_energy_is_stored_or_lost(spec: PlantSpec, data: st.DataObject) -> None:
    """What the charger gave is what the loads took, what heated, and what is stored."""
    plant, dt_s = Plant(spec), 0.1
    ledger, bank = Energies(plant), plant.state.arrays.bank
    for hour in data.draw(hours(spec)):
        for _ in range(hour.steps):
            if not go(plant, hour, 0.0):
                return
            before_w = ledger.heat_w(plant.state.pack_a, float(bank[rows.CHARGER_A]))
            pieces = bank[rows.PIECES]
            if not go(plant, hour, dt_s):
                return
            after_w = ledger.heat_w(plant.state.pack_a, float(bank[rows.CHARGER_A]))
            ledger.lost_j += 0.5 * dt_s * (before_w + after_w)
            ledger.moved_j += dt_s * float(
                np.abs(plant.state.pack_a * plant.state.terminal_v).sum()
            )
            # The mean of both ends is the heat of a step but for the square of its change; where
            # currents bend inside the step the ends tell little.
            changed = abs(after_w - before_w) / max(before_w, after_w, 1e-9)
            bent = bank[rows.PIECES] > pieces + 1.0
            ledger.blurred_j += dt_s * max(before_w, after_w) * (1.0 if bent else changed**2)
    given_j = 3600.0 * (plant.state.charger_wh - plant.state.load_wh)
    slack_j = 1e-5 * ledger.moved_j + ledger.blurred_j + 0.01
    assert given_j == pytest.approx(ledger.stored_j() + ledger.lost_j, abs=slack_j)


def test_the_ledger_would_notice_a_thousandth() -> None:
    """The same ledger on one charge by hand: 20 A for 100 s into 3.2907 V behind 1 mΩ are 6622 J."""
    plant = Plant(PlantSpec([Pack(Cell(100.0, 1e-3), count=1, soc=0.5)], [0.0]))
    ledger = Energies(plant)
    for _ in range(1000):
        plant.advance(0.1, ChargerLimits(4.0, 20.0))
        ledger.lost_j += 0.1 * ledger.heat_w(plant.state.pack_a, 20.0)
    given_j = 3600.0 * plant.state.charger_wh
    assert ledger.lost_j == pytest.approx(40.0, abs=1e-9)
    assert given_j == pytest.approx(6622.2, abs=0.5)
    assert given_j == pytest.approx(ledger.stored_j() + 40.0, abs=1e-3)
