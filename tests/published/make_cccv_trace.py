"""Solve a constant-current, constant-voltage charge of an LFP cell and store it as a pack trace.

The cell comes from outside the project: the single-particle model with electrolyte of the
battery-modelling library PyBaMM, version 26.10.1.1, with its published parameter set
``Prada2013``. Nothing in the trace is tuned to the rules that it later helps to check, except
the protocol (which voltages are held, and for how long).

PyBaMM is no dependency of the project, and no test imports it. To make the file again, or to
compare a fresh solution with the stored file, use a virtual environment of its own
(Python 3.11)::

    python3.11 -m venv /tmp/cccv-trace
    /tmp/cccv-trace/bin/pip install pybamm==26.10.1.1 batterydf==0.1.0
    /tmp/cccv-trace/bin/python tests/published/make_cccv_trace.py --check
    /tmp/cccv-trace/bin/python tests/published/make_cccv_trace.py
    /tmp/cccv-trace/bin/bdf validate --strict vectors/published/lfp-cccv-16s.bdf.csv

The script prints the model's capacity and its true state of charge at the end of each step,
the numbers that ``vectors/published/README.md`` and the tests beside this script state.
"""

from __future__ import annotations

import argparse
import csv
import os
import sys
from dataclasses import dataclass
from pathlib import Path

PYBAMM_VERSION = "26.10.1.1"
PARAMETER_SET = "Prada2013"

CELLS_IN_SERIES = 16
PACK_CAPACITY_AH = 280.0

START_SOC = 0.2
# Half of the pack's capacity in an hour, the rate for which end points of a hold are on record.
CHARGE_CURRENT_A = 140.0
ABSORPTION_CELL_V = 3.5
FLOAT_CELL_V = 3.375
# A full cell rests at the voltage it was held at, and a charger cannot take current back:
# without a load the pack would never come down to the float voltage.
LOAD_CURRENT_A = 14.0

# Not a multiple of the sampling interval: the jump to the charging current then falls halfway
# between two samples, where the trapezoidal rule counts it exactly.
REST_S = 125.0
HOLD_S = 4200.0
FLOAT_S = 3600.0

SAMPLING_INTERVAL_S = 10
# Between two kept points the solution is read along a straight line: at 1 s that bends the falling
# current by up to 6 mA, at 0.1 s by less than the file's last digit.
SOLUTION_INTERVAL_S = 0.1
RELATIVE_TOLERANCE = 1e-8
ABSOLUTE_TOLERANCE = 1e-10

TIME_COLUMN = "Test Time / s"
VOLTAGE_COLUMN = "Voltage / V"
CURRENT_COLUMN = "Current / A"
STEP_COLUMN = "Step Count / 1"
COLUMNS = (TIME_COLUMN, VOLTAGE_COLUMN, CURRENT_COLUMN, STEP_COLUMN)
VOLTAGE_DECIMALS = 4
CURRENT_DECIMALS = 3

STEP_NAMES = ("rest", "constant current", "constant voltage", "load", "float")

TRACE_PATH = Path(__file__).resolve().parents[2] / "vectors" / "published" / "lfp-cccv-16s.bdf.csv"


@dataclass(frozen=True)
class Row:
    """One sample of the pack, rounded as it is stored."""

    time_s: int
    voltage_v: float
    current_a: float
    step: int


@dataclass(frozen=True)
class StepEnd:
    """What the model itself knows at the end of a step, before any sampling or rounding."""

    name: str
    time_s: float
    voltage_v: float
    current_a: float
    soc: float


@dataclass(frozen=True)
class Trace:
    """The sampled pack, and the truth that the samples do not contain."""

    cell_capacity_ah: float
    rows: tuple[Row, ...]
    step_ends: tuple[StepEnd, ...]


def rounded(value: float, decimals: int) -> float:
    """Round for the file; a current of minus nothing becomes plain zero."""
    return round(value, decimals) + 0.0


def solve() -> Trace:
    """Solve the charge with the pinned library, and scale it from one cell to the pack.

    Returns:
        The samples of the pack and the model's own state at the end of each step.

    Raises:
        RuntimeError: the installed library is not the version that the stored numbers name.
    """
    # The library otherwise reports its use to its authors.
    os.environ.setdefault("PYBAMM_DISABLE_TELEMETRY", "true")
    # Imported here, so that the rest of this file can be read without the library.
    import pybamm

    if pybamm.__version__ != PYBAMM_VERSION:
        raise RuntimeError(f"PyBaMM {pybamm.__version__} is installed, {PYBAMM_VERSION} is needed")

    parameters = pybamm.ParameterValues(PARAMETER_SET)
    limits = pybamm.lithium_ion.ElectrodeSOHSolver(parameters).get_min_max_stoichiometries()
    negative_empty, negative_full = float(limits[0]), float(limits[1])
    # The set's nominal 2.3 Ah is a round figure. What lies between its two limits of open-circuit
    # voltage is a little more, and only with that does a full cell count as exactly 1.
    electrode_capacity_ah = float(parameters.evaluate(pybamm.LithiumIonParameters().n.prim.Q_init))
    cell_capacity_ah = electrode_capacity_ah * (negative_full - negative_empty)
    pack_per_cell_current = PACK_CAPACITY_AH / cell_capacity_ah

    # The library counts a discharging current as positive.
    experiment = pybamm.Experiment(
        [
            pybamm.step.rest(REST_S, period=SOLUTION_INTERVAL_S),
            pybamm.step.current(
                -CHARGE_CURRENT_A / pack_per_cell_current,
                termination=f"{ABSORPTION_CELL_V} V",
                period=SOLUTION_INTERVAL_S,
            ),
            pybamm.step.voltage(ABSORPTION_CELL_V, duration=HOLD_S, period=SOLUTION_INTERVAL_S),
            pybamm.step.current(
                LOAD_CURRENT_A / pack_per_cell_current,
                termination=f"{FLOAT_CELL_V} V",
                period=SOLUTION_INTERVAL_S,
            ),
            pybamm.step.voltage(FLOAT_CELL_V, duration=FLOAT_S, period=SOLUTION_INTERVAL_S),
        ]
    )
    simulation = pybamm.Simulation(
        pybamm.lithium_ion.SPMe(),
        parameter_values=parameters,
        experiment=experiment,
        solver=pybamm.IDAKLUSolver(rtol=RELATIVE_TOLERANCE, atol=ABSOLUTE_TOLERANCE),
    )
    solution = simulation.solve(initial_soc=START_SOC)

    rows: list[Row] = []
    step_ends: list[StepEnd] = []
    time_s = 0
    for number, step in enumerate(solution.cycles, start=1):
        begin_s, end_s = (float(step["Time [s]"].entries[index]) for index in (0, -1))
        # A sample on the border of two steps belongs to the later one.
        while time_s < end_s:
            # A step's first kept time may lie a rounding error after the sample on its border.
            inside_s = max(float(time_s), begin_s)
            cell_v = float(step["Voltage [V]"](inside_s))
            cell_a = -float(step["Current [A]"](inside_s))
            rows.append(
                Row(
                    time_s=time_s,
                    voltage_v=rounded(CELLS_IN_SERIES * cell_v, VOLTAGE_DECIMALS),
                    current_a=rounded(pack_per_cell_current * cell_a, CURRENT_DECIMALS),
                    step=number,
                )
            )
            time_s += SAMPLING_INTERVAL_S
        stoichiometry = float(step["Average negative particle stoichiometry"].entries[-1])
        step_ends.append(
            StepEnd(
                name=STEP_NAMES[number - 1],
                time_s=end_s,
                voltage_v=CELLS_IN_SERIES * float(step["Voltage [V]"].entries[-1]),
                current_a=-pack_per_cell_current * float(step["Current [A]"].entries[-1]),
                soc=(stoichiometry - negative_empty) / (negative_full - negative_empty),
            )
        )
    return Trace(cell_capacity_ah, tuple(rows), tuple(step_ends))


def write_rows(path: Path, rows: tuple[Row, ...]) -> None:
    """Store the samples as a Battery Data Format table: header in row 1, commas, no banner."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for row in rows:
            writer.writerow(
                (
                    row.time_s,
                    f"{row.voltage_v:.{VOLTAGE_DECIMALS}f}",
                    f"{row.current_a:.{CURRENT_DECIMALS}f}",
                    row.step,
                )
            )


def read_rows(path: Path) -> tuple[Row, ...]:
    """Read the samples back from the stored table."""
    with path.open(encoding="utf-8", newline="") as file:
        return tuple(
            Row(
                time_s=int(cells[TIME_COLUMN]),
                voltage_v=float(cells[VOLTAGE_COLUMN]),
                current_a=float(cells[CURRENT_COLUMN]),
                step=int(cells[STEP_COLUMN]),
            )
            for cells in csv.DictReader(file)
        )


def differences(stored: tuple[Row, ...], fresh: tuple[Row, ...]) -> list[str]:
    """Say where a fresh solution leaves the stored one by more than two units of the last digit."""
    if len(stored) != len(fresh):
        return [f"{len(stored)} rows are stored, {len(fresh)} rows were solved"]
    voltage_slack_v = 2.5 * 10.0**-VOLTAGE_DECIMALS
    current_slack_a = 2.5 * 10.0**-CURRENT_DECIMALS
    return [
        f"stored {old}, solved {new}"
        for old, new in zip(stored, fresh, strict=True)
        if (old.time_s, old.step) != (new.time_s, new.step)
        or abs(old.voltage_v - new.voltage_v) > voltage_slack_v
        or abs(old.current_a - new.current_a) > current_slack_a
    ]


def main(arguments: list[str] | None = None) -> int:
    """Make the stored trace, or compare a fresh solution with it.

    Returns:
        0 when the file was written or agrees, 1 when it does not agree.
    """
    parser = argparse.ArgumentParser(description="Make the published charge trace.")
    parser.add_argument("--output", type=Path, default=TRACE_PATH, help="the file to write")
    parser.add_argument(
        "--check", action="store_true", help="write nothing, compare with the file instead"
    )
    options = parser.parse_args(arguments)

    trace = solve()
    print(f"cell capacity {trace.cell_capacity_ah:.6f} Ah, {len(trace.rows)} rows")
    for end in trace.step_ends:
        print(
            f"{end.name:>16}: ends at {end.time_s:9.2f} s with {end.voltage_v:7.4f} V, "
            f"{rounded(end.current_a, CURRENT_DECIMALS):8.3f} A, state of charge {end.soc:.6f}"
        )

    if options.check:
        found = differences(read_rows(options.output), trace.rows)
        for line in found:
            print(line, file=sys.stderr)
        return 1 if found else 0
    write_rows(options.output, trace.rows)
    return 0


if __name__ == "__main__":
    sys.exit(main())
