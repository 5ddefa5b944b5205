"""Where the numbers of many arms lie: side by side, so that one instruction serves several arms.

LANES arms make a block. A row of a block holds one number of each of its arms next to each other, as
`harness.world.lane_numbers` takes them. Rows of the bank come first, then those of every pack
(`pack_at`), then those of every cell (`cell_at`). The same memory, seen with the lane as its last
axis, is the state of one arm as everything else in the package takes it (`arm_state`), without
copying.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ctrl.flat import STATE_ENTRIES
from harness.study import tally
from harness.world import loads, rows
from harness.world.compiling import part
from harness.world.lane_numbers import LANES
from harness.world.rows import Flags, Floats, State

# Rows of a bank beyond those of `State.bank`: what the charger must not exceed and the loads draw;
# whether a resistance changed; whether a switch moved; when the bank must be asked in any case, s.
LIMIT_V, LIMIT_A, LOAD_A, OTHER_OHM, SWITCHED, WAKE_S = range(
    rows.STATE_BANK_ENTRIES, rows.STATE_BANK_ENTRIES + 6
)
# Then the state of the loads, and the sums of the bank.
LOADS = rows.STATE_BANK_ENTRIES + 6
BANK_SUMS = LOADS + loads.LOADS_STATE_ENTRIES
BANK_ROWS = BANK_SUMS + tally.BANK_ROWS

# Rows of a pack beyond those of `State.packs`: what it did at the start of the step, where the step
# would take it.
START_V, START_A, START_CELL_V, END_A = range(rows.STATE_PACK_ROWS, rows.STATE_PACK_ROWS + 4)
# Between which readings nothing happens at a sample but that it is counted: voltage, current, cell
# voltage, temperature; the longest gap, and the least count.
FROM_V, BELOW_V, LEAST_A, MOST_A, BELOW_CELL_V, LEAST_C, MOST_C, MOST_GAP_S, LEAST_SOC = range(
    rows.STATE_PACK_ROWS + 4, rows.STATE_PACK_ROWS + 13
)
# From which voltage and within which current it is proved full; a timer: what it had counted, since
# when it runs on, when it has run out; and what counting reads.
(
    PROVED_V, PROVED_A, COUNTED_S, TIMER_FROM_S, RUNS_OUT_S, EFFICIENCY, PER_COULOMB, CEILING,
) = range(rows.STATE_PACK_ROWS + 13, rows.STATE_PACK_ROWS + 21)  # fmt: skip
# Then the state of its controller, as of `ctrl.flat`, and its sums.
MEMORY = rows.STATE_PACK_ROWS + 21
SUMS = MEMORY + STATE_ENTRIES
PACK_ROWS = SUMS + tally.PACK_ROWS

# Rows of a cell beyond those of `State.cells`: the cubic of the curve on which its tangent touches,
# the SoC to which the step would take it, and where the tangent touched at first.
KNOT, CUBIC_0, CUBIC_1, CUBIC_2, CUBIC_3, END_SOC, FIRST_HALF, FIRST_SOC = range(
    rows.STATE_CELL_ROWS, rows.STATE_CELL_ROWS + 8
)
CELL_ROWS = rows.STATE_CELL_ROWS + 8


class Lanes(NamedTuple):
    """All that moves in the arms of a bank; every array is changed in place.

    Attributes:
        rows: shape (blocks, rows * LANES).
        bank: the same memory, rows of the bank; shape (blocks, BANK_ROWS, LANES).
        packs: the same memory, rows of the packs; shape (blocks, packs, PACK_ROWS, LANES).
        cells: the same memory, rows of the cells; shape (blocks, packs, cells, CELL_ROWS, LANES).
        gas: of `State.gas`, with the lane as its last axis and the block as its first.
        switches: `Switch` of each pack; shape (blocks, packs, LANES).
        running: bits of the lanes whose arms run; shape (blocks,).
        spare: bits of the lanes without an arm, which may be written over; shape (blocks,).
        errors: how often |counted - true SoC| was in each bin of 0.001, over packs and steps;
            shape (blocks, LANES, ERROR_BINS). The last bin also holds all that is larger.
    """

    rows: Floats
    bank: Floats
    packs: Floats
    cells: Floats
    gas: Floats
    switches: Flags
    running: Flags
    spare: Flags
    errors: Flags


def lanes_of(state: State, arms: int) -> Lanes:
    """So many arms whose banks all begin with this state; nothing is set, nothing summed up yet."""
    # With one block alone the views would lie in memory in another way than those of several, and
    # everything would be compiled twice.
    blocks = max(-(-arms // LANES), 2)
    packs, each, _ = state.cells.shape
    from_cells = BANK_ROWS + packs * PACK_ROWS
    memory = np.zeros((blocks, from_cells + packs * each * CELL_ROWS, LANES))
    bank = memory[:, :BANK_ROWS]
    per_pack = memory[:, BANK_ROWS:from_cells].reshape(blocks, packs, PACK_ROWS, LANES)
    cells = memory[:, from_cells:].reshape(blocks, packs, each, CELL_ROWS, LANES)
    assert np.shares_memory(memory, per_pack)
    assert np.shares_memory(memory, cells)
    bank[:, : rows.STATE_BANK_ENTRIES] = state.bank[:, None]
    per_pack[:, :, : rows.STATE_PACK_ROWS] = state.packs[:, :, None]
    cells[:, :, :, : rows.STATE_CELL_ROWS] = state.cells[:, :, :, None]
    # Nothing has been connected yet, no cubic is fetched, and nothing is known of the controllers.
    bank[:, SWITCHED], bank[:, WAKE_S], bank[:, LOADS + loads.HELD_CHANGE] = 1.0, np.inf, -1.0
    cells[:, :, :, KNOT] = -1.0
    per_pack[:, :, BELOW_V] = -np.inf
    # So that lanes without an arm hold numbers, too.
    per_pack[:, :, rows.THROUGH] = 1.0
    sums = per_pack[:, :, SUMS:]
    sums[:, :, tally.WORST_ERROR] = -np.inf
    sums[:, :, tally.CHARGING_FROM_S] = np.nan
    arm = np.arange(blocks * LANES).reshape(blocks, LANES)
    running = ((arm < arms) << np.arange(LANES)).sum(axis=1)
    return Lanes(
        memory.reshape(blocks, -1),
        bank,
        per_pack,
        cells,
        np.repeat(np.repeat(state.gas[None, ..., None], blocks, axis=0), LANES, axis=-1),
        np.zeros((blocks, packs, LANES), np.int64),
        running,
        ~running & (1 << LANES) - 1,
        np.zeros((blocks, LANES, tally.ERROR_BINS), np.int64),
    )


@part
def pack_at(p: int) -> int:
    """The first row of a pack; compiled."""
    return BANK_ROWS + p * PACK_ROWS


@part
def cell_at(packs: int, each: int, p: int, c: int) -> int:
    """The first row of a cell in a bank of so many packs of so many cells each; compiled."""
    return BANK_ROWS + packs * PACK_ROWS + (p * each + c) * CELL_ROWS


@part
def arm_state(lanes: Lanes, b: int, a: int) -> State:
    """The state of the arm in lane `a` of block `b`; compiled."""
    return State(
        lanes.cells[b, :, :, :, a],
        lanes.packs[b, :, :, a],
        lanes.bank[b, :, a],
        lanes.gas[b, :, :, :, a],
    )
