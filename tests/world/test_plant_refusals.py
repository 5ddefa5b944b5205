"""What cannot be is refused by name; what goes wrong on the way is said, and stays wrong."""

from __future__ import annotations

from math import inf, nan
from typing import Any

import numpy as np
import pytest
from attrs import evolve

from harness.errors import InputError
from harness.world.cell import Cell, Pair
from harness.world.curves import affine, lead_acid, naumann2018
from harness.world.network import ChargerLimits
from harness.world.pack import Balancer, OddCell, Pack, Spread
from harness.world.plant import Code, Plant, PlantError, PlantSpec, advance_once

CELL = Cell(100.0, 1e-3)
PACK = Pack(CELL)
LIMITS = ChargerLimits(56.0, 50.0)


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Cell(0.0, 1e-3), "capacity_ah"),
        (lambda: Cell(nan, 1e-3), "capacity_ah"),
        (lambda: Cell("100", 1e-3), "capacity_ah"),  # type: ignore[arg-type]
        (lambda: Cell(100.0, 0.0), "series_ohm"),
        (lambda: Cell(100.0, inf), "series_ohm"),
        (lambda: Cell(100.0, 1e-3, (Pair(1e-3, 1.0),) * 3), "pairs"),
        (lambda: Pair(0.0, 30.0), "ohm"),
        (lambda: Pair(1e-3, -30.0), "tau_s"),
        (lambda: evolve(CELL, coulombic_efficiency=1.01), "coulombic_efficiency"),
        (lambda: evolve(CELL, self_discharge_per_month=-0.1), "self_discharge_per_month"),
        (lambda: evolve(CELL, hysteresis_v=10.0), "hysteresis_v"),
        (lambda: evolve(CELL, factor_at_10_c=0.0), "factor_at_10_c"),
        (lambda: Pack(CELL, 0), "count"),
        (lambda: Pack(CELL, True), "count"),
        (lambda: Pack(CELL, soc=80.0), "soc"),
        (lambda: Pack(CELL, 4, odd_cells=(OddCell(4),)), "odd_cells"),
        (lambda: Pack(CELL, own_consumption_a=-1.0), "own_consumption_a"),
        (lambda: Pack(CELL, inhibited="off"), "inhibited"),  # type: ignore[arg-type]
        (lambda: Spread(capacity=5.0), "capacity"),
        (lambda: Spread(seed=-1), "seed"),
        (lambda: Balancer("wireless", 1.0), "kind"),  # type: ignore[arg-type]
        (lambda: Balancer("passive", 0.0), "current_a"),
        (lambda: PlantSpec([], []), "packs"),
        (lambda: PlantSpec([PACK] * 61, [0.0] * 61), "packs"),
        (lambda: PlantSpec([PACK, evolve(PACK, count=8)], [0.0] * 2), "packs"),
        (lambda: PlantSpec([PACK], [0.0, 0.0]), "lead_ohm"),
        (lambda: PlantSpec([PACK], [-1e-3]), "lead_ohm"),
        (lambda: PlantSpec([PACK], [nan]), "lead_ohm"),
        (lambda: PlantSpec([PACK], [0.0], -1.0), "main_ohm"),
        (
            lambda: PlantSpec([PACK, Pack(evolve(CELL, curve=lead_acid()))], [0.0] * 2),
            "curve",
        ),
    ],
)
def test_what_no_bank_has_is_refused(make: Any, field: str) -> None:
    with pytest.raises(InputError) as caught:
        make()
    assert caught.value.column == field
    assert caught.value.hint
    assert caught.value.exit_code == 2


@pytest.mark.parametrize(
    ("dt_s", "limits", "load_a"),
    [
        (-1.0, LIMITS, 0.0), (nan, LIMITS, 0.0), (inf, LIMITS, 0.0),
        (1.0, LIMITS, -1.0), (1.0, LIMITS, nan), (1.0, LIMITS, inf),
        (1.0, LIMITS._replace(voltage_v=nan), 0.0), (1.0, LIMITS._replace(current_a=-1.0), 0.0),
        (1.0, LIMITS._replace(power_w=nan), 0.0), (1.0, LIMITS._replace(regulated_ohm=inf), 0.0),
        (1.0, ChargerLimits(inf, inf), 0.0),
    ],
)  # fmt: skip
def test_a_step_that_cannot_be_leaves_the_bank_as_it_was(
    dt_s: float, limits: ChargerLimits, load_a: float
) -> None:
    plant = Plant(PlantSpec([PACK], [0.0]))
    plant.advance(1.0, LIMITS, 5.0)
    before = plant.state.copy()
    with pytest.raises(InputError):
        plant.advance(dt_s, limits, load_a)
    assert all(np.array_equal(a, b) for a, b in zip(plant.state.arrays, before.arrays, strict=True))
    plant.advance(1.0, LIMITS, 5.0)
    assert plant.steps == 2


@pytest.mark.parametrize("switches", [[0, 0], [3], [-1], []])
def test_a_switch_for_each_pack(switches: list[int]) -> None:
    with pytest.raises(InputError, match="switches"):
        Plant(PlantSpec([PACK], [0.0])).advance(1.0, LIMITS, 0.0, switches)


def test_a_load_that_no_bank_carries_is_said_with_step_and_inputs() -> None:
    plant = Plant(PlantSpec([PACK], [0.0]))
    plant.advance(1.0, LIMITS, 5.0)
    with pytest.raises(PlantError) as caught:
        plant.advance(1.0, ChargerLimits(0.0, 0.0), 5000.0)
    assert caught.value.code == Code.BUS_VOLTAGE
    assert (caught.value.step, caught.value.time_s) == (1, 1.0)
    assert caught.value.inputs["load_a"] == 5000.0
    assert "step 1 at 1 s" in str(caught.value)
    assert "load_a 5000.0" in str(caught.value)


def until_it_ends(plant: Plant, limits: ChargerLimits, load_a: float) -> None:
    for _ in range(3600):
        plant.advance(10.0, limits, load_a)


def test_an_emptied_bank_ends_and_stays_ended() -> None:
    plant = Plant(PlantSpec([Pack(CELL, soc=0.02)], [0.0]))
    with pytest.raises(PlantError):
        until_it_ends(plant, ChargerLimits(0.0, 0.0), 50.0)
    ended, soc = plant.steps, plant.state.soc.copy()
    # 14 steps to 0, and some more down the steep end of the curve.
    assert 14 < ended < 25
    with pytest.raises(PlantError):
        plant.advance(10.0, LIMITS)
    assert plant.steps == ended
    assert np.array_equal(plant.state.soc, soc)


def test_an_overfilled_cell_ends_it() -> None:
    cell = Cell(10.0, 1e-3, curve=affine(3.2, 0.1))
    plant = Plant(PlantSpec([Pack(cell, soc=0.99)], [0.0]))
    with pytest.raises(PlantError, match="SoC left") as caught:
        until_it_ends(plant, ChargerLimits(inf, 10.0), 0.0)
    assert caught.value.code == Code.SOC


@pytest.mark.parametrize("open_", [0, 1])
@pytest.mark.parametrize("row", range(7))
def test_what_is_not_a_number_is_never_passed_on(row: int, open_: int) -> None:
    """Any part of a cell's state, in a pack that is connected or open."""
    spec = PlantSpec([PACK, PACK], [0.0, 0.0])
    plant = Plant(spec)
    plant.advance(1.0, LIMITS, 0.0, [0, open_])
    plant.state.arrays.cells[1, 3, row] = nan
    codes = [
        advance_once(
            spec.arrays, plant.state.arrays, 1.0, LIMITS, 1.0, np.array([0, open_], np.int64)
        )[0]
        for _ in range(3)
    ]
    # A cell voltage is an outcome, worked out anew in every step; hysteresis is unused here.
    harmless = {3, 5}
    assert (codes[-1] == Code.OK) == (row in harmless)
    if row in harmless:
        assert np.all(np.isfinite(plant.state.cell_v))


def test_curves_are_the_same_object_when_named() -> None:
    assert naumann2018() is naumann2018()
    PlantSpec([PACK, Pack(Cell(80.0, 2e-3, curve=naumann2018()))], [0.0, 0.0])
