"""Charge one cell with PyBaMM's equivalent circuit and print what came of it, as JSON.

Run by an interpreter that has PyBaMM, in an environment of its own; nothing of the project is
imported here. Written for PyBaMM 26.10. The cell: 100 Ah, Naumann's curve, 1.2 mΩ, one pair of
0.6 mΩ and 30 s; 50 A from SoC 0.2 up to 3.5 V, then held there for 9000 s; once a second.
"""

from __future__ import annotations

import json
import os
import sys
import time
from typing import Any

os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"

import pybamm

TOLERANCE = 1e-10
ROUNDS = 7


def open_circuit_v(soc: Any) -> Any:
    """Naumann, PhD thesis, TU München 2018, as coded in SimSES 1.3.12."""
    e = pybamm.exp
    return (
        2.0020
        - 3.3160 / (1 + e(-116.2064 * (soc + 0.1572)))
        + 4.9996 / (1 + e(-22.4512 * (soc + 0.0944)))
        - 0.4574 / (1 + e(358.9072 * (soc - 1)))
        - 1.3646 / (1 + e(499.9994 * soc))
        + 0.1251 * soc
    )


def simulation() -> Any:
    """The charge, with a row every second."""
    model = pybamm.equivalent_circuit.Thevenin()
    values = model.default_parameter_values
    values.update(
        {
            "Initial SoC": 0.2,
            "Cell capacity [A.h]": 100,
            "Nominal cell capacity [A.h]": 100,
            "Upper voltage cut-off [V]": 4.2,
            "Lower voltage cut-off [V]": 2.0,
            "Open-circuit voltage [V]": open_circuit_v,
            "R0 [Ohm]": 1.2e-3,
            "R1 [Ohm]": 0.6e-3,
            "C1 [F]": 50_000.0,
            "Entropic change [V/K]": 0.0,
            "Current function [A]": -50.0,
        }
    )
    experiment = pybamm.Experiment(
        [("Charge at 50 A until 3.5 V", "Hold at 3.5 V for 9000 s")], period="1 second"
    )
    solver = pybamm.IDAKLUSolver(rtol=TOLERANCE, atol=TOLERANCE)
    return pybamm.Simulation(model, parameter_values=values, experiment=experiment, solver=solver)


def timed() -> tuple[dict[str, Any], float, float]:
    """Columns, and the best times to solve again and to extract, s."""
    sim = simulation()
    sim.solve()
    solve_s = extract_s = float("inf")
    for _ in range(ROUNDS):
        start = time.perf_counter()
        solution = sim.solve()
        solve_s = min(solve_s, time.perf_counter() - start)
        start = time.perf_counter()
        columns = {
            "time_s": solution["Time [s]"].entries,
            "volts": solution["Voltage [V]"].entries,
            "amperes": -solution["Current [A]"].entries,
            "soc": solution["SoC"].entries,
        }
        extract_s = min(extract_s, time.perf_counter() - start)
    columns["held_from_s"] = float(solution.cycles[0].steps[0].t[-1])
    return columns, solve_s, extract_s


def main() -> None:
    """Print one JSON object: version, the moment the hold began, some rows, and times."""
    columns, solve_s, extract_s = timed()
    time_s = columns["time_s"]
    held_from_s = columns["held_from_s"]
    wanted = [60.0, 600.0, 3000.0, 5400.0, 5700.0]
    wanted += [held_from_s + after_s for after_s in (1.0, 10.0, 60.0, 300.0, 1800.0, 9000.0)]
    rows = []
    for second in wanted:
        k = int(abs(time_s - second).argmin())
        row = (time_s[k], columns["volts"][k], columns["amperes"][k], columns["soc"][k])
        rows.append([float(value) for value in row])
    json.dump(
        {
            "version": pybamm.__version__,
            "held_from_s": held_from_s,
            "rows": rows,
            "count": len(time_s),
            "solve_ms": 1000.0 * solve_s,
            "extract_ms": 1000.0 * extract_s,
        },
        sys.stdout,
        indent=1,
    )


if __name__ == "__main__":
    main()
