"""What the arrays of a bank hold: `Spec` is what stays, `State` what moves.

Every row of `cells` has the shape (cells,), so that a pack resolved into its cells and one taken as
a single cell (`SERIES` times in series) run through the same code.
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.int64]

# Rows of `Spec.cells`.
OHM, PAIR_1_OHM, PAIR_1_S, PAIR_2_OHM, PAIR_2_S = range(5)
CAPACITY_AS, EFFICIENCY, LEAK_PER_S, HYSTERESIS_V, HYSTERESIS_RATE = range(5, 10)
SPEC_CELL_ROWS = 10
# Rows of `Spec.packs`. A balancer is 0 for none, 1 passive, 2 active.
LEAD_OHM, OWN_A, SERIES, LEAST_AS = range(4)
BALANCER, BALANCE_FROM_V, BALANCE_SPREAD_V, BALANCE_A, BALANCE_EFFICIENCY = range(4, 9)
SPEC_PACK_ROWS = 9
NO_BALANCER, PASSIVE, ACTIVE = range(3)
# Rows of `Spec.gas`, one a cell; the array is empty where no cell gasses.
GAS_A, GAS_AT_V, GAS_PER_V, CHARGING_OHM, CHARGING_END_SOC = range(5)
SPEC_GAS_ROWS = 5
# Entries of `Spec.bank`.
MAIN_OHM, BALANCING = range(2)
SPEC_BANK_ENTRIES = 2

# Rows of `State.cells`: what a cell is now, and at the end of the step that is being tried.
SOC, PAIR_1_V, PAIR_2_V, HYSTERESIS, OPEN_V, CELL_V, OUT_A = range(7)
AHEAD_SOC, AHEAD_V, AHEAD_SLOPE, HALF = range(7, 11)
# What a step of the length `FITTED_S` does to a cell: `harness.world.step.fit`.
LEFT_1, START_1, END_1, LEFT_2, START_2, END_2 = range(11, 17)
STARTS, ENDS, BARE_OHM, HALF_IN, HALF_OUT, LEAKED, LAG_V, LAG_RATE = range(17, 25)
STATE_CELL_ROWS = 25
# Rows of `State.packs`; some repeat `Spec.packs`, so that a step reads few arrays.
PACK_A, TERMINAL_V, CELL_MAX_V, FACTOR = range(4)
REST_V, BRANCH_OHM, SIEMENS, GUESS_A, OFF_SOC = range(4, 9)
SEEN_FACTOR, SEEN_SWITCH, THROUGH = range(9, 12)
HELD_LEAD_OHM, HELD_SERIES, HALF_PER_AS, GAS_FACTOR = range(12, 16)
STATE_PACK_ROWS = 16
# Rows of `State.gas`: what charges the cell now, where that is thought to lead, and the cell about
# there; `harness.world.gassing_step`.
GASSED_AS, MAIN_A, DRIFT_A, GUESS_MAIN_A, END_MAIN_A, NODE_V, NODE_OHM, GAS_NOW_A, MAIN_SHARE = (
    range(9)
)
STATE_GAS_ROWS = 9
# Entries of `State.bank`.
BUS_V, CHARGER_V, CHARGER_A, NETWORK, CODE, CHARGER_J, LOAD_J, PIECES, FITTED_S = range(9)
SEEN_VOLTAGE, SEEN_CURRENT, SEEN_POWER, SEEN_REGULATED, SEEN_LOAD = range(9, 14)
BLOCKED, HELD_MAIN_OHM, HELD_BALANCING = range(14, 17)
STATE_BANK_ENTRIES = 17


class Code(IntEnum):
    """How a step ended; the state is good only after `OK`."""

    OK = 0
    BAD_INPUT = 1  # a limit, load or step that cannot be; nothing was done
    BUS_VOLTAGE = 2  # the bus is not finite, or not above zero under a load that it cannot carry
    SOC = 3  # a cell left the range in which it is a cell, or is not finite
    NOT_CONVERGED = 4  # the end of the step was not found
    RESTLESS = 5  # the network changed its state more often within a step than can be followed


OK, BAD_INPUT, BUS_VOLTAGE, SOC_RANGE, NOT_CONVERGED, RESTLESS = (int(code) for code in Code)


class Spec(NamedTuple):
    """What a bank is: arrays of the rows above.

    Attributes:
        cells: shape (packs, cells, SPEC_CELL_ROWS).
        packs: shape (packs, SPEC_PACK_ROWS).
        bank: shape (SPEC_BANK_ENTRIES,).
        curve: table of the open-circuit voltage, `Curve.table`.
        gas: shape (packs, cells, SPEC_GAS_ROWS); (0, 0, SPEC_GAS_ROWS) where no cell gasses.
    """

    cells: Floats
    packs: Floats
    bank: Floats
    curve: Floats
    gas: Floats


class State(NamedTuple):
    """What moves: arrays of the rows above.

    Attributes:
        cells: shape (packs, cells, STATE_CELL_ROWS).
        packs: shape (packs, STATE_PACK_ROWS).
        bank: shape (STATE_BANK_ENTRIES,).
        gas: shape (packs, cells, STATE_GAS_ROWS); (0, 0, STATE_GAS_ROWS) where no cell gasses.
    """

    cells: Floats
    packs: Floats
    bank: Floats
    gas: Floats
