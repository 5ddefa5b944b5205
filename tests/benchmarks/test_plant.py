"""The bank's physics, measured: `pytest --benchmark-only tests/benchmarks/test_plant.py`.

Skipped by default, and never failed on time. What is asserted is that the work was done. Each entry
states its steps, so that its time can be read as one of a step; the ratio to a tight general solver
of the same charge is taken in one run.
"""

from __future__ import annotations

import time
from typing import Any

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from harness.world.cell import Cell, Pair
from harness.world.many import run_physics, run_stretch
from harness.world.network import ChargerLimits
from harness.world.pack import Pack
from harness.world.plant import Code, PlantSpec
from tests.world.circuit_ode import solve
from tests.world.test_plant_ode import CHARGE, START_SOC, circuit, plant

DAY_S = 86_400
LIMITS = ChargerLimits(55.6, 80.0, regulated_ohm=5e-3)
LOADS = {
    "steady": np.full(DAY_S, 5.0),
    "another load each minute": np.repeat(np.random.default_rng(1).uniform(0.0, 20.0, 1440), 60),
    "another load each second": np.random.default_rng(2).uniform(0.0, 20.0, DAY_S),
}


def bank(packs: int, *, resolved: bool = False) -> PlantSpec:
    """Unequal 16-cell packs of about 100 Ah."""
    made = [
        Pack(Cell(100.0 - 2.0 * p, 1.2e-3 + 1e-4 * p, (Pair(0.6e-3, 30.0),)), 16, 0.2 + 0.01 * p)
        for p in range(packs)
    ]
    return PlantSpec(made, [2e-3] * packs, 5e-3, resolved=resolved)


def day(spec: PlantSpec, load_a: Any) -> int:
    """One day at 1 s, nothing kept; returns the steps done."""
    none, packs = np.empty(0), len(spec.packs)
    return run_stretch(
        spec.arrays, spec.start().arrays, 1.0, LIMITS, load_a, none, np.zeros(packs, np.int64), 1,
        np.empty((3, 0)), np.empty((3, packs, 0)),
    )  # fmt: skip


@pytest.mark.parametrize("load", LOADS)
@pytest.mark.parametrize(
    ("packs", "resolved"), [(1, False), (4, False), (4, True)], ids=["1", "4", "4 of 16 cells"]
)
def test_day(packs: int, resolved: bool, load: str, benchmark: BenchmarkFixture) -> None:
    spec = bank(packs, resolved=resolved)
    benchmark.group = f"a day of {packs} {'resolved' if resolved else 'lumped'} packs"
    benchmark.extra_info["steps"] = DAY_S
    pedantic: Any = benchmark.pedantic
    assert pedantic(day, args=(spec, LOADS[load]), rounds=9, warmup_rounds=1) == DAY_S


def test_a_thousand_banks(benchmark: BenchmarkFixture) -> None:
    """A day of 1,000 banks of four packs at 1 s, on all cores."""
    benchmark.group = "many banks"
    benchmark.extra_info["steps"] = 1000 * DAY_S
    specs = [bank(4)] * 1000
    pedantic: Any = benchmark.pedantic
    runs = pedantic(
        run_physics, args=(specs, 1.0, LIMITS, LOADS["another load each minute"]), rounds=3,
        warmup_rounds=1,
    )  # fmt: skip
    assert [run.code for run in runs] == [Code.OK] * 1000


def test_times_faster_than_a_general_solver(benchmark: BenchmarkFixture) -> None:
    """The charge of `test_plant_ode`, a row every second, against `solve_ivp` at 1e-11."""
    benchmark.group = "against solve_ivp"
    seconds, asked = CHARGE[0]
    y = np.concatenate([START_SOC, np.zeros(4)])
    at_s = np.arange(1.0, seconds + 1.0)
    start = time.perf_counter()
    solve(circuit(1), asked, y, float(seconds), at_s)
    solver_s = time.perf_counter() - start
    limits = ChargerLimits(asked.voltage_v, asked.current_a, asked.power_w, 5e-3)
    pedantic: Any = benchmark.pedantic
    runs = pedantic(
        run_physics, args=([plant(1)], 1.0, limits, np.zeros(seconds)), kwargs={"every": 1},
        rounds=15, warmup_rounds=2,
    )  # fmt: skip
    assert runs[0].steps == seconds
    if benchmark.stats is not None:
        benchmark.extra_info["times faster"] = round(solver_s / benchmark.stats.stats.min)
