"""One cell's charge against PyBaMM's equivalent circuit at tight tolerance.

Where FULLPROOF_PYBAMM_PYTHON names an interpreter that has PyBaMM, `pybamm_thevenin.py` runs there
and its own speed is printed beside ours; otherwise the rows below stand for it, which it printed.
"""

from __future__ import annotations

import json
import os
import subprocess
import time
from math import inf
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from harness.world.cell import Cell, Pair
from harness.world.many import run_stretch
from harness.world.network import Bound, ChargerLimits
from harness.world.pack import Pack
from harness.world.plant import Plant, PlantSpec

SCRIPT = Path(__file__).with_name("pybamm_thevenin.py")
LIMITS = ChargerLimits(3.5, 50.0)
SPEC = PlantSpec([Pack(Cell(100.0, 1.2e-3, (Pair(0.6e-3, 30.0),)), count=1, soc=0.2)], [0.0])

# Printed by `pybamm_thevenin.py` under PyBaMM 26.10.1.1: s, V, A, SoC.
STORED: dict[str, Any] = {
    "version": "26.10.1.1",
    "held_from_s": 5721.044120490984,
    "rows": [
        [60.0, 3.334621989334791, 50.0, 0.20833333333333331],
        [600.0, 3.3526079924621937, 50.0, 0.2833333333333329],
        [3000.0, 3.3953444169204174, 50.0, 0.6166666666666675],
        [5400.0, 3.437045007029635, 50.0, 0.9500000000000016],
        [5700.0, 3.464139050103992, 50.0, 0.9916666666666684],
        [5722.044120490984, 3.500000000005137, 47.92437734288798, 0.99472545604385],
        [5731.044120490984, 3.500000000001841, 31.7912719316285, 0.9957116502324133],
        [5781.044120490984, 3.4999999999994196, 4.32667659679403, 0.9974795184301043],
        [6021.044120490984, 3.4999999999999987, 0.007909848543085195, 0.9979155366067297],
        [7521.044120490984, 3.5000000000032503, 2.707348104731567e-09, 0.9979163873349685],
        [14721.044120490984, 3.5000000000000018, -2.4592204625045013e-16, 0.9979163873349685],
    ],
}


@pytest.fixture(scope="module")
def theirs() -> dict[str, Any]:
    """What PyBaMM says, run now or as stored."""
    python = os.environ.get("FULLPROOF_PYBAMM_PYTHON")
    if not python:
        return STORED
    run = subprocess.run([python, str(SCRIPT)], capture_output=True, text=True, timeout=600)
    assert run.returncode == 0, run.stderr
    said: dict[str, Any] = json.loads(run.stdout)
    return said


def test_voltage_current_and_charge(
    theirs: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    """Steps of 1 s: within 0.01 mV, the current counted as what it drops in the series resistance."""
    plant, rows = Plant(SPEC), {row[0]: row for row in theirs["rows"]}
    farthest_v = 0.0
    ends = [float(second) for second in range(1, int(theirs["held_from_s"]) + 1)]
    ends += [theirs["held_from_s"] + second for second in range(9001)]
    for end_s in ends:
        plant.advance(end_s - plant.time_s, LIMITS)
        if end_s in rows:
            _, volts, amperes, soc = rows.pop(end_s)
            apart_v = abs(plant.state.terminal_v[0] - volts)
            apart_v += 1.2e-3 * abs(plant.state.pack_a[0] - amperes)
            farthest_v = max(farthest_v, apart_v)
            assert plant.state.soc[0, 0] == pytest.approx(soc, abs=1e-6)
    assert not rows
    with capsys.disabled():
        print(f"\nPyBaMM {theirs['version']}: at most {1000.0 * farthest_v:.6f} mV apart", end="")
        if "solve_ms" in theirs:
            print(speeds(theirs), end=" ")
    assert farthest_v < 1e-5


def test_the_hold_begins_at_the_same_moment(theirs: dict[str, Any]) -> None:
    for apart_s, bound in ((-1e-3, Bound.CURRENT), (1e-3, Bound.VOLTAGE)):
        plant = Plant(SPEC)
        for _ in range(5720):
            plant.advance(1.0, LIMITS)
        plant.advance(theirs["held_from_s"] + apart_s - 5720.0, LIMITS)
        assert plant.state.bound == bound


def test_stored_rows_are_what_the_script_prints(theirs: dict[str, Any]) -> None:
    """Whichever speaks, it is the same charge: to 1e-6 of each number."""
    assert np.array(theirs["rows"]) == pytest.approx(np.array(STORED["rows"]), rel=1e-6, abs=1e-6)


def speeds(theirs: dict[str, Any]) -> str:
    """How long the same charge takes, a row every second: solving again and extracting, and here."""
    steps, best_s = theirs["count"], inf
    bus, packs, load_a, none = (
        np.empty((3, steps)),
        np.empty((3, 1, steps)),
        np.zeros(steps),
        np.empty(0),
    )
    closed = np.zeros(1, np.int64)
    for _ in range(50):
        state = SPEC.start().arrays
        start = time.perf_counter()
        run_stretch(SPEC.arrays, state, 1.0, LIMITS, load_a, none, closed, 1, bus, packs)
        best_s = min(best_s, time.perf_counter() - start)
    their_ms = theirs["solve_ms"] + theirs["extract_ms"]
    return (
        f"; {their_ms:.1f} ms against {1000.0 * best_s:.3f} ms,"
        f" {their_ms / (1000.0 * best_s):.0f} times as fast"
    )
