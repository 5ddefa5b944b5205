"""A lead-acid cell in the plant: against a general solver, closed forms and balances."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from attrs import evolve

from harness.errors import InputError
from harness.world.cell import Cell, Pair
from harness.world.curves import sulzer2019
from harness.world.gassing import Gassing
from harness.world.many import run_physics
from harness.world.network import ChargerLimits
from harness.world.pack import OddCell, Pack
from harness.world.plant import Plant, PlantSpec, PlantState
from tests.world.lead_acid_ode import OneCell

GASSING = Gassing()
PAIRS = (Pair(0.8e-3, 60.0), Pair(0.6e-3, 600.0))
CELL = Cell(100.0, 1.2e-3, PAIRS, sulzer2019(), gassing=GASSING)
CELLS, LEAD_OHM = 6, 2e-3
OFF = ChargerLimits(0.0, 0.0)


def bank(soc: float, *, odd_cells: tuple[OddCell, ...] = ()) -> PlantSpec:
    """One pack, resolved into its cells if some are odd."""
    pack = Pack(CELL, CELLS, soc, odd_cells=odd_cells)
    return PlantSpec([pack], [LEAD_OHM], resolved=bool(odd_cells))


def charged(soc: float, volts_a_cell: float, hours: float, *, temp_c: float = 25.0) -> PlantState:
    """The bank after so long at a constant voltage, in steps of a minute."""
    spec = bank(soc)
    limits = ChargerLimits(CELLS * volts_a_cell, 20.0)
    run = run_physics(
        [spec], 60.0, limits, np.zeros(round(60 * hours)), states=[spec.start(temp_c)]
    )[0]
    assert run.code == 0
    return run.state


def same_cell(warmth: float) -> OneCell:
    return OneCell(
        100.0, 1.2e-3, (0.8e-3, 0.6e-3), (60.0, 600.0), 0.01 * warmth, 2.23, 11.0, 0.373 / 100.0
    )  # fmt: skip


def apart(dt_s: float) -> tuple[float, float, float, float]:
    """How far plant and solver are apart: SoC, charger current (A), cell voltage (V), gas (Ah)."""
    temp_c = 35.0
    cell, plant = same_cell(float(np.exp(0.06 * 10.0))), Plant(bank(0.85))
    plant.state.gas_factor[:] = plant.spec.gas_factors(temp_c)

    def held(volts: float, node_v: float) -> float:
        return (volts - CELLS * node_v) / (CELLS * CELL.series_ohm + LEAD_OHM)

    y = np.array([0.85, 0.0, 0.0, 0.0])
    day: list[tuple[float, ChargerLimits, Callable[[float], float]]] = [
        (1800.0, ChargerLimits(100.0, 5.0), lambda _: 5.0),
        (3600.0, ChargerLimits(15.5, 1000.0), partial(held, 15.5)),
        (3600.0, OFF, lambda _: 0.0),
    ]
    worst = np.zeros(4)
    for seconds, limits, current_of in day:
        charger_a = 0.0
        for _ in range(round(seconds / dt_s)):
            charger_a = plant.advance(dt_s, limits).charger_a
        y = cell.after(y, seconds, current_of)
        main_a, gassing_a, cell_v = cell.flows(y, current_of)
        off = (
            plant.state.soc[0, 0] - y[0],
            charger_a - (main_a + gassing_a),
            plant.state.cell_v[0, 0] - cell_v,
            plant.state.gassed_ah[0, 0] - y[3],
        )
        worst = np.maximum(worst, np.abs(off))
    soc, amps, volts, gas = worst.tolist()
    return soc, amps, volts, gas


def test_as_a_general_solver_has_it() -> None:
    soc, amps, volts, gas_ah = apart(5.0)
    assert soc < 1e-6
    assert amps < 1e-5
    assert volts < 1e-6
    assert gas_ah < 1e-6


def test_steps_of_half_the_length_are_off_by_a_quarter() -> None:
    long, short = apart(60.0), apart(30.0)
    assert long[0] / short[0] == pytest.approx(4.0, rel=0.15)
    assert long[0] < 2e-5


def test_gas_follows_tafel() -> None:
    node_v, temp_c = np.array([2.23, 2.33, 2.43]), np.full(3, 25.0)
    told = GASSING.current_a(100.0, node_v, temp_c)
    assert told == pytest.approx(0.010 * np.exp([0.0, 1.1, 2.2]))
    warm = GASSING.current_a(100.0, node_v, temp_c + np.log(2.0) / 0.06)
    assert warm == pytest.approx(2.0 * told)


@pytest.mark.parametrize("current_a", [0.05, 0.2, 1.0])
def test_a_full_cell_turns_all_its_current_into_gas(current_a: float) -> None:
    """Then the voltage is Tafel's: at_v + ln(i / I_0) / per_v."""
    plant = Plant(bank(0.9999))
    for _ in range(400):
        plant.advance(60.0, ChargerLimits(100.0, current_a))
    node_v = plant.state.cell_v[0, 0] - CELL.series_ohm * current_a
    assert node_v == pytest.approx(2.23 + np.log(current_a / 0.010) / 11.0, abs=2e-3)


def test_charge_is_stored_or_turns_to_gas() -> None:
    spec = bank(0.6, odd_cells=(OddCell(2, 0.9, 0.2, 1.5),))
    plant, capacity_ah = Plant(spec), 100.0 * np.array([1.0, 1.0, 0.9, 1.0, 1.0, 1.0])
    before = plant.state.soc[0].copy()

    def taken_ah() -> npt.NDArray[np.float64]:
        stored: npt.NDArray[np.float64] = capacity_ah * (plant.state.soc[0] - before)
        stored += plant.state.gassed_ah[0]
        return stored

    for _ in range(300):
        plant.advance(60.0, ChargerLimits(100.0, 8.0))
    assert taken_ah() == pytest.approx(np.full(CELLS, 40.0), rel=1e-9)
    assert plant.state.gassed_ah[0, 2] > 5.0
    # One current runs through all of them, whatever it does and wherever a step bends.
    for k in range(300):
        plant.advance(60.0, OFF if k % 60 > 40 else ChargerLimits(14.4, 20.0), 2.0)
    assert np.ptp(taken_ah()) < 1e-7


def test_current_tapers_at_a_constant_voltage() -> None:
    spec = bank(0.7)
    run = run_physics([spec], 60.0, ChargerLimits(CELLS * 2.4, 20.0), np.zeros(600), every=30)[0]
    amps = run.bus[2]
    tapering = amps[run.bus[0] > CELLS * 2.4 - 1e-6]
    assert len(tapering) > 10
    assert np.all(np.diff(tapering) < 0.0)
    assert run.state.soc[0, 0] < 1.0


def efficiency(soc: float, volts_a_cell: float, *, temp_c: float = 25.0) -> float:
    """Share of the charge that is stored, over four hours at a constant voltage."""
    state = charged(soc, volts_a_cell, 4.0, temp_c=temp_c)
    stored_ah = 100.0 * (float(state.soc[0, 0]) - soc)
    return stored_ah / (stored_ah + float(state.gassed_ah[0, 0]))


def test_ever_more_is_lost_the_fuller_the_higher_and_the_warmer() -> None:
    nearly_full = efficiency(0.97, 2.4)
    assert nearly_full < efficiency(0.90, 2.4) < efficiency(0.50, 2.4) < 1.0
    assert efficiency(0.97, 2.58) < nearly_full
    assert efficiency(0.97, 2.4, temp_c=40.0) < nearly_full
    assert nearly_full < 0.95


def test_a_full_cell_at_rest_loses_a_few_percent_a_month() -> None:
    """By Tafel's law at its open-circuit voltage; a few per cent are common practice, no source."""
    spec = bank(1.0)
    state = run_physics([spec], 3600.0, OFF, np.zeros(730))[0].state
    assert 0.01 < 1.0 - state.soc[0, 0] < 0.05
    day = run_physics([spec], 3600.0, OFF, np.zeros(24))[0].state
    expected = 24.0 * 0.010 * np.exp(11.0 * (float(sulzer2019().voltage_v(1.0)) - 2.23)) / 100.0
    assert 1.0 - day.soc[0, 0] == pytest.approx(expected, rel=0.01)
    warm = run_physics([spec], 3600.0, OFF, np.zeros(24), states=[spec.start(35.0)])[0].state
    assert (1.0 - warm.soc[0, 0]) / (1.0 - day.soc[0, 0]) == pytest.approx(np.exp(0.6), rel=0.01)


def test_overcharged_for_days_it_is_full_and_no_more() -> None:
    state = charged(0.95, 2.6, 72.0)
    assert state.soc[0, 0] == pytest.approx(1.0, abs=1e-4)


def test_equalisation_brings_up_the_cell_that_lags() -> None:
    spec = bank(0.98, odd_cells=(OddCell(3, soc_offset=-0.10),))
    limits = ChargerLimits(CELLS * 2.58, 5.0)
    state = run_physics([spec], 60.0, limits, np.zeros(12 * 60))[0].state
    assert np.ptp(spec.start().soc[0]) == pytest.approx(0.10)
    assert np.ptp(state.soc[0]) < 0.03


@pytest.mark.parametrize(
    ("column", "value"), [("coulombic_efficiency", 0.9), ("hysteresis_v", 0.01)]
)
def test_a_cell_that_gasses_has_no_other_loss(column: str, value: float) -> None:
    change: dict[str, Any] = {column: value}
    with pytest.raises(InputError, match="in a cell that gasses") as refused:
        evolve(CELL, **change)
    assert refused.value.column == column


def test_all_packs_gas_or_none() -> None:
    packs = [Pack(CELL, CELLS), Pack(evolve(CELL, gassing=None), CELLS)]
    with pytest.raises(InputError, match="only some gas") as refused:
        PlantSpec(packs, [0.0, 0.0])
    assert refused.value.column == "gassing"
