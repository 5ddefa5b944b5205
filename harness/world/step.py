"""One step of a bank, compiled: where it ends, and what happens within it.

The theory is in `harness.world.plant`, the rows of the arrays in `harness.world.rows`.
"""

from __future__ import annotations

from math import isfinite

import numpy as np

from harness.world import rows
from harness.world.bend import bends, margin_a
from harness.world.cell import pair_decay
from harness.world.cell_step import (
    LEAST_SOC,
    MOST_SOC,
    Tangent,
    behind,
    cell_after,
    cell_ahead,
    cell_now,
    hysteresis_after,
    lag_of,
    soc_after,
    soc_after_next,
    soc_after_turning,
    touching,
    weights,
)
from harness.world.compiling import aside, part
from harness.world.gassing_step import go_gassing, settle_gassing, try_gassing_step
from harness.world.moment import balance, booked, seen, settle_now, sound
from harness.world.network import ChargerLimits, pack_current, star
from harness.world.rows import Flags, Floats, Spec, State

# An open-circuit voltage taken along its tangent this far is off by some µV in a pack's knee.
NEAR_SOC = 1e-5
MOST_PASSES = 30
MOST_PIECES = 64
# A bend is found to this share of what is left of a step, in so many tries at most.
NEAR_SHARE = 2.0**-20
MOST_TRIES = 80

Found = tuple[int, float, float, int, bool]


@aside
def fit(spec: Spec, state: State, dt_s: float) -> None:
    """Work out what a step of `dt_s` does to each cell, with its resistances as they are."""
    # Cells are mostly alike in the time constants, and exponentials take time.
    tau_1_s, tau_2_s, left_1, left_2, mean_1, mean_2 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for p in range(spec.cells.shape[0]):
        factor = state.packs[p, rows.FACTOR]
        for c in range(spec.cells.shape[1]):
            fixed, now = spec.cells[p, c], state.cells[p, c]
            if fixed[rows.PAIR_1_S] != tau_1_s:
                tau_1_s = fixed[rows.PAIR_1_S]
                left_1, mean_1 = pair_decay(tau_1_s, dt_s)
            if fixed[rows.PAIR_2_S] != tau_2_s:
                tau_2_s = fixed[rows.PAIR_2_S]
                left_2, mean_2 = pair_decay(tau_2_s, dt_s)
            ohm_1, ohm_2 = factor * fixed[rows.PAIR_1_OHM], factor * fixed[rows.PAIR_2_OHM]
            now[rows.LEFT_1], now[rows.LEFT_2] = left_1, left_2
            now[rows.START_1], now[rows.END_1] = ohm_1 * (mean_1 - left_1), ohm_1 * (1.0 - mean_1)
            now[rows.START_2], now[rows.END_2] = ohm_2 * (mean_2 - left_2), ohm_2 * (1.0 - mean_2)
            now[rows.BARE_OHM] = factor * fixed[rows.OHM]
            now[rows.STARTS] = now[rows.START_1] + now[rows.START_2]
            now[rows.ENDS] = now[rows.BARE_OHM] + now[rows.END_1] + now[rows.END_2]
            now[rows.HALF_OUT] = 0.5 * dt_s / fixed[rows.CAPACITY_AS]
            now[rows.HALF_IN] = now[rows.HALF_OUT] * fixed[rows.EFFICIENCY]
            now[rows.LEAKED] = dt_s * fixed[rows.LEAK_PER_S]
            now[rows.LAG_V] = fixed[rows.HYSTERESIS_V]
            now[rows.LAG_RATE] = fixed[rows.HYSTERESIS_RATE]
        state.packs[p, rows.HALF_PER_AS] = 0.5 * dt_s / spec.packs[p, rows.LEAST_AS]
    state.bank[rows.FITTED_S] = dt_s


@part
def aim(state: State) -> None:
    """Lay the tangents where the present currents would lead to by the end of the step."""
    for p in range(state.cells.shape[0]):
        for c in range(state.cells.shape[1]):
            now = state.cells[p, c]
            start_a = state.packs[p, rows.PACK_A] - now[rows.OUT_A]
            now[rows.HALF] = now[rows.HALF_IN] if start_a > 0.0 else now[rows.HALF_OUT]
            now[rows.AHEAD_SOC] = now[rows.SOC] - now[rows.LEAKED]
            now[rows.AHEAD_SOC] += 2.0 * now[rows.HALF] * start_a


@part
def look_ahead(curve: Floats, state: State, p: int, again: bool) -> None:
    """Pack `p` at the end of the step as a source: its voltage without current, its resistance."""
    pack = state.packs[p]
    pack_a = pack[rows.PACK_A]
    guess_pack_a = pack[rows.GUESS_A] if again else pack_a
    rest_v, ohm, off_soc = 0.0, 0.0, 0.0
    for c in range(state.cells.shape[1]):
        row = state.cells[p, c]
        out_a = row[rows.OUT_A]
        start_a, guess_a = pack_a - out_a, guess_pack_a - out_a
        half, ahead_soc = row[rows.HALF], row[rows.AHEAD_SOC]
        if again:
            half = row[rows.HALF_IN] if start_a + guess_a > 0.0 else row[rows.HALF_OUT]
            ahead_soc = (row[rows.SOC] - row[rows.LEAKED]) + half * (start_a + guess_a)
        along = touching(curve, lag_of(row), ahead_soc, half)
        # Read no earlier: what is held while hysteresis calls for its exponential is spilled.
        by, now = weights(row), cell_now(row)
        cell_rest_v, cell_ohm, cell_off_soc = cell_ahead(by, now, along, out_a, start_a)
        if again:
            row[rows.HALF], row[rows.AHEAD_SOC] = half, ahead_soc
        row[rows.AHEAD_V], row[rows.AHEAD_SLOPE] = along.v, along.slope
        off_soc = max(off_soc, abs(cell_off_soc + along.half * guess_a))
        rest_v += cell_rest_v
        ohm += cell_ohm
    pack[rows.OFF_SOC] = off_soc
    pack[rows.REST_V], pack[rows.BRANCH_OHM], pack[rows.SIEMENS] = behind(
        rest_v, ohm, pack[rows.HELD_SERIES], pack[rows.HELD_LEAD_OHM], pack[rows.THROUGH]
    )


@part
def try_step(curve: Floats, state: State, limits: ChargerLimits, load_a: float) -> Found:
    """Find the end of the step that is fitted, without going there.

    Returns:
        A `Code`, bus voltage (V), charger current (A), the state of the network, and whether that
        is another than at the start and makes the currents bend.
    """
    for k in range(MOST_PASSES):
        strength_a, total = 0.0, 0.0
        for p in range(state.packs.shape[0]):
            look_ahead(curve, state, p, k > 0)
            pack = state.packs[p]
            strength_a += pack[rows.REST_V] * pack[rows.SIEMENS]
            total += pack[rows.SIEMENS]
        bus_v, charger_a, network_state = star(state, strength_a, total, limits, load_a)
        near = True
        for p in range(state.packs.shape[0]):
            pack = state.packs[p]
            end_a = pack_current(state, p, bus_v, charger_a - load_a)
            guess_a = pack[rows.GUESS_A] if k > 0 else pack[rows.PACK_A]
            off_soc = pack[rows.OFF_SOC] + pack[rows.HALF_PER_AS] * abs(end_a - guess_a)
            near &= off_soc <= NEAR_SOC
            pack[rows.GUESS_A] = end_a
        if not sound(bus_v, network_state):
            return rows.BUS_VOLTAGE, bus_v, charger_a, network_state, False
        if near:
            bent = network_state != state.bank[rows.NETWORK] and bends(
                state, limits, load_a, bus_v, charger_a, network_state
            )
            return rows.OK, bus_v, charger_a, network_state, bent
    return rows.NOT_CONVERGED, bus_v, charger_a, network_state, False


@part
def go(state: State, dt_s: float, load_a: float, found: Found) -> int:
    """Go to the end that `try_step` found; returns a `Code`."""
    _, bus_v, charger_a, network_state, _ = found
    inside = True
    for p in range(state.cells.shape[0]):
        pack = state.packs[p]
        start_pack_a = pack[rows.PACK_A]
        end_pack_a = pack[rows.GUESS_A]
        highest_v = -np.inf
        for c in range(state.cells.shape[1]):
            row = state.cells[p, c]
            out_a = row[rows.OUT_A]
            start_a, end_a = start_pack_a - out_a, end_pack_a - out_a
            charging, charging_after = start_a > 0.0, end_a > 0.0
            half = row[rows.HALF_IN] if charging else row[rows.HALF_OUT]
            if charging == charging_after:
                soc = soc_after(weights(row), cell_now(row), half, start_a, end_a)
            else:
                soc = soc_after_turning(weights(row), cell_now(row), start_a, end_a)
            if row[rows.LAG_V] > 0.0:
                moved_soc = soc - (row[rows.SOC] - row[rows.LEAKED])
                row[rows.HYSTERESIS], _ = hysteresis_after(
                    row[rows.HYSTERESIS], moved_soc, row[rows.LAG_RATE]
                )
            by, now = weights(row), cell_now(row)
            along = Tangent(
                row[rows.AHEAD_SOC], row[rows.HALF], row[rows.AHEAD_V], row[rows.AHEAD_SLOPE]
            )
            after, open_v, cell_v = cell_after(by, now, along, soc, start_a, end_a)
            inside &= LEAST_SOC <= soc <= MOST_SOC
            row[rows.AHEAD_SOC] = soc_after_next(now, half, start_a)
            row[rows.HALF] = row[rows.HALF_IN] if charging_after else row[rows.HALF_OUT]
            row[rows.SOC], row[rows.OPEN_V], row[rows.CELL_V] = soc, open_v, cell_v
            row[rows.PAIR_1_V], row[rows.PAIR_2_V] = after.pair_1_v, after.pair_2_v
            highest_v = max(highest_v, cell_v)
        pack[rows.CELL_MAX_V] = highest_v
        pack[rows.PACK_A] = end_pack_a
        lead_v = pack[rows.HELD_LEAD_OHM] * end_pack_a
        pack[rows.TERMINAL_V] = bus_v - lead_v if pack[rows.SIEMENS] > 0.0 else pack[rows.REST_V]
    booked(state, dt_s, load_a, bus_v, charger_a, network_state)
    return rows.OK if inside else rows.SOC_RANGE


@aside
def try_piece(spec: Spec, state: State, dt_s: float, limits: ChargerLimits, load_a: float) -> Found:
    """`try_step` for a part of a step."""
    fit(spec, state, dt_s)
    aim(state)
    if spec.gas.shape[0] > 0:
        return try_gassing_step(spec, state, limits, load_a)
    return try_step(spec.curve, state, limits, load_a)


@aside
def go_piece(spec: Spec, state: State, dt_s: float, load_a: float, found: Found) -> int:
    """`go` for a part of a step."""
    if spec.gas.shape[0] > 0:
        return go_gassing(spec, state, dt_s, load_a, found)
    return go(state, dt_s, load_a, found)


@aside
def until_bend(
    spec: Spec, state: State, left_s: float, limits: ChargerLimits, load_a: float, found: Found
) -> tuple[float, Found]:
    """The shortest piece that ends behind a bend, to a millionth of what is left, s.

    The bend is looked for where a straight line through the last two margins says that it is, close
    to both sides of there; and in the middle, where they do not say it or too often.

    Args:
        spec: what the bank is.
        state: how it is.
        left_s: what is left of the step; its end lies behind the bend.
        limits: of the charger.
        load_a: of the loads, A.
        found: that end.
    """
    after, near_s = found[3], NEAR_SHARE * left_s
    early_s, late_s, tried_s = 0.0, left_s, left_s
    # Of both ends and of another point beyond them: where, and the margin there.
    early_a, late_a, far_s, far_a = np.nan, margin_a(state, limits, load_a, after), np.nan, np.nan
    beyond = True
    for k in range(MOST_TRIES):
        if late_s - early_s <= near_s:
            break
        if early_a == early_a:
            guess_s = late_s - late_a * (late_s - early_s) / (late_a - early_a)
        else:
            guess_s = late_s - late_a * (late_s - far_s) / (late_a - far_a)
        guess_s += 0.4 * near_s if beyond else -0.4 * near_s
        guess_s = min(max(guess_s, early_s + 0.5 * near_s), late_s - 0.5 * near_s)
        if k == 0 or (k >= 8 and k % 2 == 0) or not early_s < guess_s < late_s:
            guess_s = 0.5 * (early_s + late_s)
        found = try_piece(spec, state, guess_s, limits, load_a)
        tried_s, was_beyond = guess_s, beyond
        beyond = found[0] == rows.OK and not found[4]
        here_a = margin_a(state, limits, load_a, after)
        if beyond:
            early_s, early_a = guess_s, here_a
        else:
            far_s, far_a, late_s, late_a = late_s, late_a, guess_s, here_a
        # The end that stays counts half, or a bent line would never move it.
        if beyond == was_beyond and k > 1:
            early_a, late_a = (early_a, 0.5 * late_a) if beyond else (0.5 * early_a, late_a)
    if tried_s != late_s:
        found = try_piece(spec, state, late_s, limits, load_a)
    return late_s, found


@aside
def in_pieces(spec: Spec, state: State, dt_s: float, limits: ChargerLimits, load_a: float) -> int:
    """Take a step in which the network changes its state, up to each change and on from there."""
    left_s = dt_s
    for _ in range(MOST_PIECES):
        late_s = left_s
        found = try_piece(spec, state, late_s, limits, load_a)
        if found[4]:
            late_s, found = until_bend(spec, state, left_s, limits, load_a, found)
        if found[0] != rows.OK:
            return found[0]
        code = go_piece(spec, state, late_s, load_a, found)
        left_s -= late_s
        if code != rows.OK or left_s <= 1e-9 * dt_s:
            return code
    return rows.RESTLESS


@aside
def go_gassing_step(
    spec: Spec, state: State, dt_s: float, limits: ChargerLimits, load_a: float
) -> int:
    """Take a step that is fitted with cells that gas; returns a `Code`."""
    found = try_gassing_step(spec, state, limits, load_a)
    if found[0] == rows.OK and not found[4]:
        return go_gassing(spec, state, dt_s, load_a, found)
    return in_pieces(spec, state, dt_s, limits, load_a)


@part
def possible(dt_s: float, limits: ChargerLimits, load_a: float) -> bool:
    """Whether a step can be asked for; NaN cannot."""
    return (
        dt_s >= 0.0
        and isfinite(dt_s)
        and limits.voltage_v >= 0.0
        and limits.current_a >= 0.0
        and limits.power_w >= 0.0
        and min(limits.voltage_v, limits.current_a, limits.power_w) < np.inf
        and isfinite(limits.regulated_ohm)
        and limits.regulated_ohm >= 0.0
        and isfinite(load_a)
        and load_a >= 0.0
    )


@part
def advance(
    spec: Spec,
    state: State,
    dt_s: float,
    limits: ChargerLimits,
    load_a: float,
    switches: Flags,
) -> tuple[int, float, float, float]:
    """Take the bank one step on; for compiled callers, `advance_once` is the same for Python.

    The rows PACK_A, TERMINAL_V and CELL_MAX_V of `state.packs` then say what each pack does at the
    end of the step, before anything jumps there.

    Args:
        spec: what the bank is.
        state: what moves; changed in place. After any code but OK and BAD_INPUT it is spoiled,
            and every further call returns that code.
        dt_s: length of the step, s; 0 only lets the currents jump.
        limits: of the charger, during the whole step.
        load_a: current of the loads at the bus, A, during the whole step; 0 or more.
        switches: `Switch` of each pack; int64, shape (packs,).

    Returns:
        A `Code`, the bus voltage (V), the voltage at the charger's terminals (V) and its current (A).
    """
    bank = state.bank
    code = int(bank[rows.CODE])
    changed = False
    if code == rows.OK:
        changed = not seen(state, limits, load_a, switches)
        if (changed or dt_s != bank[rows.FITTED_S]) and not possible(dt_s, limits, load_a):
            return rows.BAD_INPUT, bank[rows.BUS_V], bank[rows.CHARGER_V], bank[rows.CHARGER_A]
        if bank[rows.HELD_BALANCING] > 0.0:
            changed |= balance(spec, state)
        if changed:
            if spec.gas.shape[0] > 0:
                code = settle_gassing(spec, state, limits, load_a, switches)
            else:
                code = settle_now(spec, state, limits, load_a, switches)
    if code == rows.OK and dt_s > 0.0:
        if bank[rows.FITTED_S] != dt_s:
            fit(spec, state, dt_s)
            changed = True
        if changed:
            aim(state)
        if spec.gas.shape[0] > 0:
            code = go_gassing_step(spec, state, dt_s, limits, load_a)
        else:
            found = try_step(spec.curve, state, limits, load_a)
            if found[0] == rows.OK and not found[4]:
                code = go(state, dt_s, load_a, found)
            else:
                code = in_pieces(spec, state, dt_s, limits, load_a)
    if code != rows.OK:
        bank[rows.CODE] = code
    return code, bank[rows.BUS_V], bank[rows.CHARGER_V], bank[rows.CHARGER_A]
