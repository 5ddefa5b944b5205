"""The plant against a tight general solver on the same circuit."""

from __future__ import annotations

from math import inf

import numpy as np
import numpy.typing as npt
import pytest

from harness.world.cell import Cell, Pair
from harness.world.many import run_stretch
from harness.world.network import ChargerLimits
from harness.world.pack import Pack
from harness.world.plant import PlantSpec, PlantState
from tests.world.circuit_ode import CURRENT, POWER, VOLTAGE, Asked, Circuit, moment, solve

Floats = npt.NDArray[np.float64]

CELLS = 16
CAPACITY_AH = np.array([100.0, 97.0, 103.0, 90.0])
CELL_OHM = np.array([1.2e-3, 1.4e-3, 1.0e-3, 1.7e-3])
PAIR_OHM = np.array([[0.6e-3, 0.7e-3, 0.5e-3, 0.9e-3], [0.4e-3, 0.3e-3, 0.5e-3, 0.4e-3]])
PAIR_S = np.array([[30.0, 40.0, 25.0, 50.0], [600.0, 500.0, 700.0, 900.0]])
LEAD_OHM = np.array([2.0e-3, 2.5e-3, 2.2e-3, 4.0e-3])
MAIN_OHM = 5.0e-3
START_SOC = np.array([0.55, 0.60, 0.50, 0.58])


def circuit(pairs: int) -> Circuit:
    """Four unequal packs for the general solver."""
    return Circuit(
        CELLS, CAPACITY_AH, CELLS * CELL_OHM, CELLS * PAIR_OHM[:pairs], PAIR_S[:pairs], LEAD_OHM,
        MAIN_OHM,
    )  # fmt: skip


def plant(pairs: int, *, resolved: bool = False) -> PlantSpec:
    """The same four packs."""
    packs = [
        Pack(
            Cell(
                float(CAPACITY_AH[p]),
                float(CELL_OHM[p]),
                tuple(Pair(float(PAIR_OHM[k, p]), float(PAIR_S[k, p])) for k in range(pairs)),
            ),
            CELLS,
            float(START_SOC[p]),
        )
        for p in range(4)
    ]
    return PlantSpec(packs, LEAD_OHM.tolist(), MAIN_OHM, resolved=resolved)


def terminals(
    spec: PlantSpec, state: PlantState, asked: Asked, seconds: int, dt_s: float
) -> Floats:
    """Terminal voltages at the end of every step, V; shape (packs, steps). Moves the state on."""
    steps = round(seconds / dt_s)
    limits = ChargerLimits(asked.voltage_v, asked.current_a, asked.power_w, MAIN_OHM)
    bus, packs = np.empty((3, steps)), np.empty((3, 4, steps))
    done = run_stretch(
        spec.arrays, state.arrays, dt_s, limits, np.full(steps, asked.load_a), np.empty(0),
        np.zeros(4, np.int64), 1, bus, packs,
    )  # fmt: skip
    assert done == steps
    volts: Floats = packs[1]
    return volts


def apart_mv(pairs: int, day: list[tuple[int, Asked]], dt_s: float, **kind: bool) -> float:
    """The farthest that plant and solver lie apart at the end of any step of any pack, mV."""
    same, spec = circuit(pairs), plant(pairs, **kind)
    state, farthest = spec.start(), 0.0
    y = np.concatenate([START_SOC, np.zeros(4 * pairs)])
    for seconds, asked in day:
        at_s: Floats = np.arange(1.0, round(seconds / dt_s) + 1.0) * dt_s
        columns, y, _ = solve(same, asked, y, float(seconds), at_s)
        expected = np.array([moment(same, asked, column).terminal_v for column in columns.T]).T
        found = terminals(spec, state, asked, seconds, dt_s)
        farthest = max(farthest, float(np.max(np.abs(found - expected))))
    return 1000.0 * farthest


CHARGE = [(4 * 3600, Asked(55.6, 80.0, inf, 0.0))]


@pytest.mark.parametrize("pairs", [1, 2])
def test_charge_of_four_unequal_packs(pairs: int) -> None:
    """Constant current, then constant voltage, steps of 1 s: within 0.01 mV a pack."""
    assert apart_mv(pairs, CHARGE, 1.0) < 0.01


def test_cells_on_their_own_go_the_same_way() -> None:
    assert apart_mv(1, CHARGE, 1.0, resolved=True) < 0.01


def test_the_error_falls_with_the_square_of_the_step() -> None:
    long, short = apart_mv(1, CHARGE, 8.0), apart_mv(1, CHARGE, 2.0)
    assert 8.0 < long / short < 24.0
    assert long < 0.3


def test_a_day_with_load_steps() -> None:
    """Loads that jump, a source that bounds the power, a charger that goes off: within 0.01 mV."""
    day = []
    for hour in range(24):
        sun_w = 6000.0 * max(0.0, np.sin(np.pi * (hour - 6) / 12))
        for minutes, load_a in (
            (20, 4.0),
            (25, 12.0 + hour),
            (15, 60.0 if hour in (7, 12, 19) else 2.0),
        ):
            day.append((60 * minutes, Asked(55.6, 80.0, sun_w, load_a)))
    assert apart_mv(1, day, 1.0) < 0.01


def test_the_solver_itself_meets_every_bound() -> None:
    """The comparison says something only if the charge runs through them."""
    y = np.concatenate([START_SOC, np.zeros(4)])
    asked = Asked(55.6, 80.0, 4350.0, 0.0)
    _, _, changes = solve(circuit(1), asked, y, 3.0 * 3600.0, np.array([1.0]))
    assert [bound for _, bound in changes] == [CURRENT, POWER, VOLTAGE]
    assert apart_mv(1, [(3 * 3600, asked)], 1.0) < 0.01
