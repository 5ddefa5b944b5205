"""What happens at an instant, compiled: balancers switch, and currents jump.

A current jumps when a load, a limit, a switch or a resistance changes; states of charge and pair
voltages do not. So at the start of a step the network is solved with what they are.
"""

from __future__ import annotations

import numpy as np

from harness.world import network, rows
from harness.world.compiling import aside, part
from harness.world.network import ChargerLimits, pack_current, star
from harness.world.rows import Flags, Spec, State

MOST_BUS_V = 10_000.0


@aside
def balance(spec: Spec, state: State) -> bool:
    """Set what electronics and balancer draw from each cell; True if that changed."""
    changed = False
    for p in range(spec.cells.shape[0]):
        fixed, cells = spec.packs[p], state.cells[p]
        kind = fixed[rows.BALANCER]
        if kind == rows.NO_BALANCER:
            continue
        lowest, highest = 0, 0
        for c in range(cells.shape[0]):
            if cells[c, rows.CELL_V] < cells[lowest, rows.CELL_V]:
                lowest = c
            if cells[c, rows.CELL_V] > cells[highest, rows.CELL_V]:
                highest = c
        from_v = max(
            fixed[rows.BALANCE_FROM_V],
            cells[lowest, rows.CELL_V] + fixed[rows.BALANCE_SPREAD_V],
        )
        moving = cells[highest, rows.CELL_V] > from_v
        for c in range(cells.shape[0]):
            out_a = fixed[rows.OWN_A]
            bled = kind == rows.PASSIVE and cells[c, rows.CELL_V] > from_v
            if bled or (kind == rows.ACTIVE and moving and c == highest):
                out_a += fixed[rows.BALANCE_A]
            elif kind == rows.ACTIVE and moving and c == lowest:
                out_a -= fixed[rows.BALANCE_A] * fixed[rows.BALANCE_EFFICIENCY]
            changed |= out_a != cells[c, rows.OUT_A]
            cells[c, rows.OUT_A] = out_a
    return changed


@part
def taken(state: State, bus_v: float, charger_a: float, network_state: int) -> None:
    """Keep what the network settled at."""
    bank = state.bank
    bank[rows.BUS_V], bank[rows.CHARGER_A] = bus_v, charger_a
    bank[rows.CHARGER_V] = bus_v + bank[rows.HELD_MAIN_OHM] * charger_a
    bank[rows.NETWORK] = network_state


@part
def booked(
    state: State, dt_s: float, load_a: float, bus_v: float, charger_a: float, network_state: int
) -> None:
    """`taken` at the end of a step, and the energies of the step."""
    bank = state.bank
    charger_w, load_w = bank[rows.CHARGER_V] * bank[rows.CHARGER_A], bank[rows.BUS_V] * load_a
    taken(state, bus_v, charger_a, network_state)
    bank[rows.CHARGER_J] += 0.5 * dt_s * (charger_w + bank[rows.CHARGER_V] * charger_a)
    bank[rows.LOAD_J] += 0.5 * dt_s * (load_w + bus_v * load_a)
    bank[rows.PIECES] += 1.0


@part
def sound(bus_v: float, network_state: int) -> bool:
    """Whether a bus can have this voltage."""
    dead = network_state & network.BOUND_BITS == network.DARK
    return (bus_v > 0.0 or dead) and bus_v < MOST_BUS_V


@part
def seen(state: State, limits: ChargerLimits, load_a: float, switches: Flags) -> bool:
    """Whether all that makes currents jump is as it was."""
    bank = state.bank
    same = bank[rows.SEEN_VOLTAGE] == limits.voltage_v and bank[rows.SEEN_LOAD] == load_a
    same &= bank[rows.SEEN_CURRENT] == limits.current_a
    same &= bank[rows.SEEN_POWER] == limits.power_w
    same &= bank[rows.SEEN_REGULATED] == limits.regulated_ohm
    for p in range(len(switches)):
        pack = state.packs[p]
        same &= pack[rows.SEEN_SWITCH] == switches[p]
        same &= pack[rows.SEEN_FACTOR] == pack[rows.FACTOR]
    return bool(same)


@part
def see(state: State, limits: ChargerLimits, load_a: float, switches: Flags) -> None:
    """Take in all that makes currents jump."""
    bank = state.bank
    bank[rows.SEEN_VOLTAGE], bank[rows.SEEN_CURRENT] = limits.voltage_v, limits.current_a
    bank[rows.SEEN_POWER], bank[rows.SEEN_REGULATED] = limits.power_w, limits.regulated_ohm
    bank[rows.SEEN_LOAD], bank[rows.BLOCKED] = load_a, 0.0
    for p in range(len(switches)):
        pack = state.packs[p]
        pack[rows.SEEN_SWITCH] = switches[p]
        pack[rows.THROUGH] = 1.0 if switches[p] == network.CLOSED else 0.0
        if switches[p] == network.CHARGE_BLOCKED:
            bank[rows.BLOCKED] = 1.0
        if pack[rows.SEEN_FACTOR] != pack[rows.FACTOR]:
            pack[rows.SEEN_FACTOR] = pack[rows.FACTOR]
            # The coefficients of a step hold the resistances.
            bank[rows.FITTED_S] = 0.0


@aside
def settle_now(
    spec: Spec, state: State, limits: ChargerLimits, load_a: float, switches: Flags
) -> int:
    """Let the currents jump to where limits, load and switches now put them; returns a `Code`."""
    see(state, limits, load_a, switches)
    strength_a, total = 0.0, 0.0
    for p in range(spec.cells.shape[0]):
        pack = state.packs[p]
        rest_v, ohm = 0.0, 0.0
        for c in range(spec.cells.shape[1]):
            now = state.cells[p, c]
            cell_ohm = spec.cells[p, c, rows.OHM] * pack[rows.FACTOR]
            ohm += cell_ohm
            rest_v += now[rows.OPEN_V] + now[rows.PAIR_1_V] + now[rows.PAIR_2_V]
            rest_v -= cell_ohm * now[rows.OUT_A]
        pack[rows.REST_V] = rest_v * pack[rows.HELD_SERIES]
        pack[rows.BRANCH_OHM] = ohm * pack[rows.HELD_SERIES] + pack[rows.HELD_LEAD_OHM]
        pack[rows.SIEMENS] = pack[rows.THROUGH] / pack[rows.BRANCH_OHM]
        strength_a += pack[rows.REST_V] * pack[rows.SIEMENS]
        total += pack[rows.SIEMENS]
    bus_v, charger_a, network_state = star(state, strength_a, total, limits, load_a)
    if not sound(bus_v, network_state):
        return rows.BUS_VOLTAGE
    taken(state, bus_v, charger_a, network_state)
    for p in range(spec.cells.shape[0]):
        pack = state.packs[p]
        current_a = pack_current(state, p, bus_v, charger_a - load_a)
        lead_v = pack[rows.HELD_LEAD_OHM] * current_a
        pack[rows.PACK_A] = current_a
        pack[rows.TERMINAL_V] = bus_v - lead_v if pack[rows.SIEMENS] > 0.0 else pack[rows.REST_V]
        highest_v = -np.inf
        for c in range(spec.cells.shape[1]):
            now = state.cells[p, c]
            cell_ohm = spec.cells[p, c, rows.OHM] * pack[rows.FACTOR]
            v = now[rows.OPEN_V] + now[rows.PAIR_1_V] + now[rows.PAIR_2_V]
            now[rows.CELL_V] = v + cell_ohm * (current_a - now[rows.OUT_A])
            highest_v = max(highest_v, now[rows.CELL_V])
        pack[rows.CELL_MAX_V] = highest_v
    return rows.OK
