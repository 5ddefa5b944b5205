"""One step of a bank whose cells gas, compiled: how its currents jump, where a step ends.

A cell carries `i = m + g`: m charges it, g gasses. Behind its series resistance R stands its node,

    V_node = U(z) + u1 + u2 + R_charging(z)·m        while m > 0, else without the last term
    g = I_0·exp(per_v·(V_node - at_v))·warmth        V = V_node + R·i

(`harness.world.gassing`). At an instant z and u are given; at the end of a step, in which i and m run
along straight lines, z and u are linear in the m there. Either way V_node is a function of m, and so
is i. About a guess of m both are taken along their tangents: the cell is then a source behind a
resistance, as in `harness.world.plant`, the network is solved, and the guess moved to the m that comes
out, until it stays (Newton's method).
"""

from __future__ import annotations

from math import exp
from typing import NamedTuple

import numpy as np

from harness.world import rows
from harness.world.bend import bends
from harness.world.cell_step import LEAST_SOC, MOST_SOC, behind
from harness.world.compiling import aside, part
from harness.world.curves import open_circuit
from harness.world.moment import booked, see, sound, taken
from harness.world.network import ChargerLimits, pack_current, star
from harness.world.rows import Flags, Floats, Spec, State

# So near must a guess lie: V_node in V, the SoC as a share of what is left to the end of charging.
NEAR_V, NEAR_SHARE = 1e-6, 1e-6
# Beyond this little room the resistance stays what it is, so that it is never without end.
LEAST_ROOM_SOC = 1e-7
# A guess that is far off must not take the exponential out of range; all current that there can be
# gasses long before.
MOST_FOLDS = 22.0
# In one pass the voltage of a node is let up by this, V.
FAR_V = 0.2
WHOLE_PASSES, MOST_PASSES = 20, 80

Found = tuple[int, float, float, int, bool]


class Node(NamedTuple):
    """The node of a cell about a guess.

    Attributes:
        main_a: the guess: current that charges the cell, A.
        soc: state of charge there.
        open_v: open-circuit voltage there, V.
        slope: its slope, V per unit of SoC.
        v: voltage of the node, V.
        ohm: its slope, V per A of `main_a`.
    """

    main_a: float
    soc: float
    open_v: float
    slope: float
    v: float
    ohm: float


@part
def gas_a(own: Floats, warmth: float, node_v: float) -> float:
    """Current that gasses at a voltage of the node, A."""
    folds = min(own[rows.GAS_PER_V] * (node_v - own[rows.GAS_AT_V]), MOST_FOLDS)
    current_a: float = own[rows.GAS_A] * warmth * exp(folds)
    return current_a


@part
def room_soc(own: Floats, soc: float) -> float:
    """What is left of the SoC to the end of charging."""
    left_soc: float = max(own[rows.CHARGING_END_SOC] - soc, LEAST_ROOM_SOC)
    return left_soc


@part
def charging_ohm(own: Floats, factor: float, soc: float) -> tuple[float, float]:
    """Resistance against charging, Ω, and its slope, Ω per unit of SoC."""
    room = room_soc(own, soc)
    if soc <= 0.0:
        return 0.0, 0.0
    ohm = own[rows.CHARGING_OHM] * factor * soc / room
    return ohm, ohm * (1.0 / soc + 1.0 / room) if room > LEAST_ROOM_SOC else ohm / soc


@part
def node_at(
    curve: Floats,
    own: Floats,
    factor: float,
    row: Floats,
    gas: Floats,
    main_a: float,
    jumping: bool,
) -> Node:
    """The node of a cell that is charged by `main_a` at this instant, or at the end of the step."""
    if jumping:
        half, ends = 0.0, 0.0
        soc, pairs_v = row[rows.SOC], row[rows.PAIR_1_V] + row[rows.PAIR_2_V]
    else:
        start_a, half = gas[rows.MAIN_A], row[rows.HALF_OUT]
        ends = row[rows.END_1] + row[rows.END_2]
        soc = row[rows.SOC] - row[rows.LEAKED] + half * (start_a + main_a)
        pairs_v = row[rows.LEFT_1] * row[rows.PAIR_1_V] + row[rows.LEFT_2] * row[rows.PAIR_2_V]
        pairs_v += (row[rows.START_1] + row[rows.START_2]) * start_a + ends * main_a
    open_v, slope = open_circuit(curve, soc)
    v, ohm = open_v + pairs_v, slope * half + ends
    if main_a > 0.0:
        against_ohm, steeper = charging_ohm(own, factor, soc)
        v += against_ohm * main_a
        ohm += against_ohm + steeper * half * main_a
    return Node(main_a, soc, open_v, slope, v, ohm)


@part
def look_ahead(spec: Spec, state: State, p: int, jumping: bool) -> None:
    """Pack `p` as a source about the guesses: its voltage without current, its resistance.

    Args:
        spec: what the bank is.
        state: how it is.
        p: the pack.
        jumping: whether at this instant; otherwise at the end of the step that is fitted.
    """
    pack = state.packs[p]
    rest_v, ohm, factor = 0.0, 0.0, pack[rows.FACTOR]
    for c in range(state.cells.shape[1]):
        own, row, gas = spec.gas[p, c], state.cells[p, c], state.gas[p, c]
        node = node_at(spec.curve, own, factor, row, gas, gas[rows.GUESS_MAIN_A], jumping)
        most_v = own[rows.GAS_AT_V] + MOST_FOLDS / own[rows.GAS_PER_V]
        if node.v > most_v and node.main_a > 0.0:
            # The voltage grows ever faster with the current: in proportion is less than that.
            free_v = min(row[rows.OPEN_V] + row[rows.PAIR_1_V] + row[rows.PAIR_2_V], most_v)
            less_a = node.main_a * (most_v - free_v) / (node.v - free_v)
            node = node_at(spec.curve, own, factor, row, gas, less_a, jumping)
        gassing_a = gas_a(own, pack[rows.GAS_FACTOR], node.v)
        siemens = own[rows.GAS_PER_V] * gassing_a
        share = 1.0 / (1.0 + siemens * node.ohm)
        cell_ohm = node.ohm * share + factor * spec.cells[p, c, rows.OHM]
        gas[rows.GUESS_MAIN_A], gas[rows.NODE_V], gas[rows.NODE_OHM] = node.main_a, node.v, node.ohm
        gas[rows.GAS_NOW_A], gas[rows.MAIN_SHARE] = gassing_a, share
        row[rows.AHEAD_SOC], row[rows.AHEAD_V] = node.soc, node.open_v
        row[rows.AHEAD_SLOPE] = node.slope
        rest_v += node.v - node.ohm * share * (node.main_a + gassing_a)
        rest_v -= cell_ohm * row[rows.OUT_A]
        ohm += cell_ohm
    pack[rows.REST_V], pack[rows.BRANCH_OHM], pack[rows.SIEMENS] = behind(
        rest_v, ohm, pack[rows.HELD_SERIES], pack[rows.HELD_LEAD_OHM], pack[rows.THROUGH]
    )


@part
def look_at_end(spec: Spec, state: State, p: int, pack_a: float, jumping: bool) -> bool:
    """What charges the cells of a pack at this current; whether that is near enough to the guesses."""
    near = True
    for c in range(state.cells.shape[1]):
        own, row, gas = spec.gas[p, c], state.cells[p, c], state.gas[p, c]
        main_a = gas[rows.GUESS_MAIN_A]
        over_a = pack_a - row[rows.OUT_A] - gas[rows.GAS_NOW_A] - main_a
        moved_a = gas[rows.MAIN_SHARE] * over_a
        near &= abs(gas[rows.NODE_OHM] * moved_a) <= NEAR_V
        if (main_a > 0.0) != (main_a + moved_a > 0.0):
            # Across zero the tangent is another.
            against_ohm, _ = charging_ohm(own, state.packs[p, rows.FACTOR], row[rows.SOC])
            near &= abs(against_ohm * moved_a) <= NEAR_V
        if not jumping:
            moved_soc = row[rows.HALF_OUT] * abs(moved_a)
            near &= moved_soc <= NEAR_SHARE * room_soc(own, row[rows.SOC]) + 1e-12
        gas[rows.END_MAIN_A] = main_a + moved_a
    return near


@part
def guess_again(spec: Spec, state: State, p: int, k: int) -> None:
    """Move the guesses of a pack to what came out in pass `k`."""
    factor = state.packs[p, rows.FACTOR]
    for c in range(state.gas.shape[1]):
        own, row, gas = spec.gas[p, c], state.cells[p, c], state.gas[p, c]
        guess_a, main_a = gas[rows.GUESS_MAIN_A], gas[rows.END_MAIN_A]
        if main_a > guess_a and main_a > 0.0:
            # Upwards a tangent knows nothing of the gas to come, nor of the resistance above zero.
            from_a, ohm = guess_a, gas[rows.NODE_OHM]
            if guess_a <= 0.0:
                from_a, (ohm, _) = 0.0, charging_ohm(own, factor, row[rows.SOC])
            if ohm * (main_a - from_a) > FAR_V:
                main_a = from_a + FAR_V / ohm
        if k >= WHOLE_PASSES:
            # Guesses of several cells can send each other across zero and back.
            main_a = 0.5 * (main_a + guess_a)
        gas[rows.GUESS_MAIN_A] = main_a


@part
def solve(
    spec: Spec, state: State, limits: ChargerLimits, load_a: float, jumping: bool
) -> tuple[bool, float, float, int]:
    """Solve the network from the guesses on.

    Returns:
        Whether that came to an end; bus voltage (V), charger current (A), state of the network.
    """
    bus_v, charger_a, network_state = 0.0, 0.0, 0
    for k in range(MOST_PASSES):
        strength_a, total = 0.0, 0.0
        for p in range(state.packs.shape[0]):
            look_ahead(spec, state, p, jumping)
            pack = state.packs[p]
            strength_a += pack[rows.REST_V] * pack[rows.SIEMENS]
            total += pack[rows.SIEMENS]
        bus_v, charger_a, network_state = star(state, strength_a, total, limits, load_a)
        near = True
        for p in range(state.packs.shape[0]):
            pack_a = pack_current(state, p, bus_v, charger_a - load_a)
            state.packs[p, rows.GUESS_A] = pack_a
            near &= look_at_end(spec, state, p, pack_a, jumping)
        if near:
            return True, bus_v, charger_a, network_state
        for p in range(state.packs.shape[0]):
            guess_again(spec, state, p, k)
    return False, bus_v, charger_a, network_state


@aside
def settle_gassing(
    spec: Spec, state: State, limits: ChargerLimits, load_a: float, switches: Flags
) -> int:
    """`harness.world.moment.settle_now` for cells that gas."""
    see(state, limits, load_a, switches)
    for p in range(state.gas.shape[0]):
        for c in range(state.gas.shape[1]):
            state.gas[p, c, rows.GUESS_MAIN_A] = state.gas[p, c, rows.MAIN_A]
    solved, bus_v, charger_a, network_state = solve(spec, state, limits, load_a, True)
    if not solved:
        return rows.NOT_CONVERGED
    if not sound(bus_v, network_state):
        return rows.BUS_VOLTAGE
    taken(state, bus_v, charger_a, network_state)
    for p in range(state.packs.shape[0]):
        for c in range(state.cells.shape[1]):
            state.gas[p, c, rows.DRIFT_A] = 0.0
        arrive(spec, state, p, bus_v)
    return rows.OK


@part
def arrive(spec: Spec, state: State, p: int, bus_v: float) -> None:
    """Take what was solved for a pack: its current, and the voltages of its cells."""
    pack = state.packs[p]
    pack_a, highest_v = pack[rows.GUESS_A], -np.inf
    for c in range(state.cells.shape[1]):
        row, gas = state.cells[p, c], state.gas[p, c]
        moved_a = gas[rows.END_MAIN_A] - gas[rows.GUESS_MAIN_A]
        node_v = gas[rows.NODE_V] + gas[rows.NODE_OHM] * moved_a
        cell_ohm = pack[rows.FACTOR] * spec.cells[p, c, rows.OHM]
        row[rows.CELL_V] = node_v + cell_ohm * (pack_a - row[rows.OUT_A])
        gas[rows.MAIN_A] = gas[rows.END_MAIN_A]
        highest_v = max(highest_v, row[rows.CELL_V])
    pack[rows.CELL_MAX_V] = highest_v
    pack[rows.PACK_A] = pack_a
    lead_v = pack[rows.HELD_LEAD_OHM] * pack_a
    pack[rows.TERMINAL_V] = bus_v - lead_v if pack[rows.SIEMENS] > 0.0 else pack[rows.REST_V]


@aside
def try_gassing_step(spec: Spec, state: State, limits: ChargerLimits, load_a: float) -> Found:
    """`harness.world.step.try_step` for cells that gas."""
    for p in range(state.gas.shape[0]):
        for c in range(state.gas.shape[1]):
            gas = state.gas[p, c]
            gas[rows.GUESS_MAIN_A] = gas[rows.MAIN_A] + gas[rows.DRIFT_A]
    solved, bus_v, charger_a, network_state = solve(spec, state, limits, load_a, False)
    if not solved:
        return rows.NOT_CONVERGED, bus_v, charger_a, network_state, False
    if not sound(bus_v, network_state):
        return rows.BUS_VOLTAGE, bus_v, charger_a, network_state, False
    bent = network_state != state.bank[rows.NETWORK] and bends(
        state, limits, load_a, bus_v, charger_a, network_state
    )
    return rows.OK, bus_v, charger_a, network_state, bent


@aside
def go_gassing(spec: Spec, state: State, dt_s: float, load_a: float, found: Found) -> int:
    """`harness.world.step.go` for cells that gas."""
    inside = True
    for p in range(state.cells.shape[0]):
        start_pack_a, end_pack_a = state.packs[p, rows.PACK_A], state.packs[p, rows.GUESS_A]
        for c in range(state.cells.shape[1]):
            row, gas = state.cells[p, c], state.gas[p, c]
            start_a, end_a = gas[rows.MAIN_A], gas[rows.END_MAIN_A]
            soc = row[rows.SOC] - row[rows.LEAKED] + row[rows.HALF_OUT] * (start_a + end_a)
            from_1_v = row[rows.START_1] * start_a + row[rows.END_1] * end_a
            from_2_v = row[rows.START_2] * start_a + row[rows.END_2] * end_a
            row[rows.PAIR_1_V] = row[rows.LEFT_1] * row[rows.PAIR_1_V] + from_1_v
            row[rows.PAIR_2_V] = row[rows.LEFT_2] * row[rows.PAIR_2_V] + from_2_v
            row[rows.OPEN_V] = row[rows.AHEAD_V]
            row[rows.OPEN_V] += row[rows.AHEAD_SLOPE] * (soc - row[rows.AHEAD_SOC])
            row[rows.SOC] = soc
            inside &= LEAST_SOC <= soc <= MOST_SOC
            both_a = start_pack_a + end_pack_a - 2.0 * row[rows.OUT_A]
            gas[rows.GASSED_AS] += 0.5 * dt_s * (both_a - (start_a + end_a))
            gas[rows.DRIFT_A] = end_a - start_a
        arrive(spec, state, p, found[1])
    booked(state, dt_s, load_a, found[1], found[2], found[3])
    return rows.OK if inside else rows.SOC_RANGE
