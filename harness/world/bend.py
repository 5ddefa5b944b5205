"""Whether what bounds the charger, or who conducts, changes within a step, and where; compiled.

The theory is in `harness.world.plant`.
"""

from __future__ import annotations

import numpy as np

from harness.world import network, rows
from harness.world.compiling import aside
from harness.world.network import ChargerLimits, charger_by
from harness.world.rows import State

# A bend by less than this is not worth finding.
STILL_A = 1e-6


@aside
def bends(
    state: State, limits: ChargerLimits, load_a: float, bus_v: float, charger_a: float, after: int
) -> bool:
    """Whether the network's state `after` a step, not the one before it, makes a current bend.

    It does not where what bounded the charger before would give the same current still: two bounds
    that meet in the last digits do not take turns.
    """
    bank = state.bank
    before = int(bank[rows.NETWORK])
    bound, bound_after = before & network.BOUND_BITS, after & network.BOUND_BITS
    if bound == network.DARK or bound_after == network.DARK:
        return True
    strength_a, total = 0.0, 0.0
    for p in range(state.packs.shape[0]):
        pack = state.packs[p]
        strength_a += pack[rows.REST_V] * pack[rows.SIEMENS]
        total += pack[rows.SIEMENS]
        if (before ^ after) >> (network.PACK_SHIFT + p) & 1:
            pack_a = (bus_v - pack[rows.REST_V]) / pack[rows.BRANCH_OHM]
            if abs(pack_a) > STILL_A:
                return True
    if bound == bound_after or total <= 0.0:
        return False
    held_a = charger_by(bound, strength_a, total, limits, load_a, bank[rows.HELD_MAIN_OHM])
    return bool(abs(held_a - charger_a) > STILL_A)


@aside
def margin_a(state: State, limits: ChargerLimits, load_a: float, after: int) -> float:
    """By how much the network's state before a step still holds at the end that is tried, A.

    Below 0 the state `after` holds in its place. It says where to look for the change, no more.
    """
    before, after = int(state.bank[rows.NETWORK]) & network.BOUND_BITS, after & network.BOUND_BITS
    strength_a, total = 0.0, 0.0
    for p in range(state.packs.shape[0]):
        pack = state.packs[p]
        strength_a += pack[rows.REST_V] * pack[rows.SIEMENS]
        total += pack[rows.SIEMENS]
    main_ohm = state.bank[rows.HELD_MAIN_OHM]
    if before == after or network.DARK in (before, after) or total <= 0.0:
        return np.nan
    if before == network.OFF or after == network.OFF:
        by_voltage_a = charger_by(network.VOLTAGE, strength_a, total, limits, load_a, main_ohm)
        return (by_voltage_a if after == network.OFF else -by_voltage_a) + STILL_A
    held_a = charger_by(before, strength_a, total, limits, load_a, main_ohm)
    return charger_by(after, strength_a, total, limits, load_a, main_ohm) - held_a + STILL_A
