"""One step of the banks of a block of arms, compiled: what `harness.world.step` does, in lanes.

What a cell does stands in the functions that are called there too, so the results are the same to
the last bit. Here all arms take the commonest way at once: currents may jump at the start, at the end
the charger is bound by what bound it at the start, and the tangents touch near enough. An arm in
which anything else happens is left as it was, for `slow_step`.
"""

from __future__ import annotations

from math import inf

from harness.study import lanes as at
from harness.study.lane_settle import (
    aim_lanes,
    charge_lanes,
    end_current,
    in_lanes,
    settle_lanes,
)
from harness.study.lanes import Lanes, arm_state, cell_at, pack_at
from harness.world import rows
from harness.world.cell_step import (
    LEAST_SOC,
    MOST_SOC,
    CellNow,
    Lag,
    Tangent,
    Weights,
    behind,
    cell_after,
    cell_ahead,
    hysteresis_after,
    lagging,
    soc_after,
    soc_after_next,
    soc_after_turning,
    weights,
)
from harness.world.compiling import aside, part
from harness.world.curves import on_cubic, place_of
from harness.world.lane_numbers import (
    ALL,
    Answers,
    Numbers,
    answers_of,
    bits_of,
    change,
    fetch,
    floor,
    pick,
    put,
    spread,
    take,
)
from harness.world.network import ChargerLimits
from harness.world.rows import Floats, Spec, State
from harness.world.step import MOST_PASSES, NEAR_SOC, advance


@part
def cubics(curve: Floats, x: Floats, z: int, soc: Numbers) -> tuple[Numbers, Numbers]:
    """Voltage and slope of the curve, as `harness.world.curves.open_circuit`.

    The cubics are fetched anew only where one of the lanes has come to another knot.
    """
    place, last = place_of(soc), len(curve) // 4 - 1
    knot = min(max(floor(place), 0.0), float(last))
    if bits_of(knot != take(x, z + at.KNOT)) != 0:
        # Lanes without a number have no row either.
        c0, c1, c2, c3 = fetch(curve, pick(knot >= 0.0, knot, 0.0))
        put(x, z + at.KNOT, knot)
        put(x, z + at.CUBIC_0, c0)
        put(x, z + at.CUBIC_1, c1)
        put(x, z + at.CUBIC_2, c2)
        put(x, z + at.CUBIC_3, c3)
        return on_cubic(c0, c1, c2, c3, place - knot)
    return on_cubic(
        take(x, z + at.CUBIC_0), take(x, z + at.CUBIC_1), take(x, z + at.CUBIC_2),
        take(x, z + at.CUBIC_3), place - knot,
    )  # fmt: skip


@part
def lag_in(cell: Floats, x: Floats, z: int, by: Weights) -> Lag:
    """`harness.world.cell_step.lag_of` in every lane; `cell` is the cell's row of `fitted`."""
    return Lag(
        cell[rows.LAG_V], cell[rows.LAG_RATE], take(x, z + rows.HYSTERESIS),
        take(x, z + rows.SOC) - by.leaked,
    )  # fmt: skip


@part
def look_ahead_lanes(
    curve: Floats, fitted: State, x: Floats, packs: int, each: int, again: Answers | None
) -> tuple[Numbers, Numbers]:
    """`harness.world.step.look_ahead` of all packs: their strength and total.

    Args:
        curve: table of the open-circuit voltage.
        fitted: as in `step_lanes`.
        x: rows of the block; changed in place.
        packs: how many.
        each: cells of each.
        again: the lanes in which another look is taken, from where the last one led; None for the
            first look, in all lanes.
    """
    strength_a, total = spread(0.0), spread(0.0)
    for p in range(packs):
        q, fixed = pack_at(p), fitted.packs[p]
        pack_a = take(x, q + rows.PACK_A)
        guess_pack_a = pack_a if again is None else take(x, q + at.END_A)
        rest_v, ohm, off_soc = spread(0.0), spread(0.0), spread(0.0)
        for c in range(each):
            z, by = cell_at(packs, each, p, c), weights(fitted.cells[p, c])
            out_a = take(x, z + rows.OUT_A)
            start_a, guess_a = pack_a - out_a, guess_pack_a - out_a
            now = CellNow(
                take(x, z + rows.SOC), take(x, z + rows.PAIR_1_V), take(x, z + rows.PAIR_2_V)
            )
            if again is not None:
                both_a = start_a + guess_a
                half = pick(both_a > 0.0, by.half_in, by.half_out)
                change(x, z + rows.HALF, again, half)
                change(x, z + rows.AHEAD_SOC, again, (now.soc - by.leaked) + half * both_a)
            half, soc = take(x, z + rows.HALF), take(x, z + rows.AHEAD_SOC)
            v, slope = cubics(curve, x, z, soc)
            along = lagging(lag_in(fitted.cells[p, c], x, z, by), soc, half, v, slope)
            cell_rest_v, cell_ohm, cell_off_soc = cell_ahead(by, now, along, out_a, start_a)
            change(x, z + rows.AHEAD_V, again, along.v)
            change(x, z + rows.AHEAD_SLOPE, again, along.slope)
            off_soc = max(off_soc, abs(cell_off_soc + half * guess_a))
            rest_v, ohm = rest_v + cell_rest_v, ohm + cell_ohm
        rest_v, ohm, siemens = behind(
            rest_v, ohm, fixed[rows.HELD_SERIES], fixed[rows.HELD_LEAD_OHM],
            take(x, q + rows.THROUGH),
        )  # fmt: skip
        change(x, q + rows.OFF_SOC, again, off_soc)
        change(x, q + rows.REST_V, again, rest_v)
        change(x, q + rows.BRANCH_OHM, again, ohm)
        change(x, q + rows.SIEMENS, again, siemens)
        strength_a, total = strength_a + rest_v * siemens, total + siemens
    return strength_a, total


@part
def look_at_ends(
    fitted: State, x: Floats, packs: int, bus_v: Numbers, charger_a: Numbers, again: Answers | None
) -> int:
    """The currents at the end; returns the bits of the lanes whose tangents touch near there."""
    near = -1
    for p in range(packs):
        q = pack_at(p)
        end_a = end_current(
            x, packs, bus_v, charger_a, take(x, q + rows.REST_V), take(x, q + rows.SIEMENS)
        )
        guess_a = take(x, q + rows.PACK_A) if again is None else take(x, q + at.END_A)
        off_soc = take(x, q + rows.OFF_SOC)
        off_soc = off_soc + fitted.packs[p, rows.HALF_PER_AS] * abs(end_a - guess_a)
        near &= bits_of(off_soc <= NEAR_SOC)
        change(x, q + at.END_A, again, end_a)
    return near


@aside
def look_again(
    curve: Floats, fitted: State, x: Floats, limits: ChargerLimits, far: int, ends: Floats
) -> int:
    """Look ahead once more and again in the lanes whose tangents did not touch near enough.

    Args:
        curve: table of the open-circuit voltage.
        fitted: as in `step_lanes`.
        x: rows of the block; changed in place.
        limits: of the charger.
        far: bits of these lanes.
        ends: rows of bus voltage, charger current and what bounds it at the end, changed in these
            lanes.

    Returns:
        Bits of those of them that can go.
    """
    packs, each = fitted.cells.shape[0], fitted.cells.shape[1]
    for p in range(packs):
        for c in range(each):
            z = cell_at(packs, each, p, c)
            put(x, z + at.FIRST_HALF, take(x, z + rows.HALF))
            put(x, z + at.FIRST_SOC, take(x, z + rows.AHEAD_SOC))
    found = 0
    for _ in range(MOST_PASSES - 1):
        if far == 0:
            break
        again = answers_of(far)
        strength_a, total = look_ahead_lanes(curve, fitted, x, packs, each, again)
        bus_v, charger_a, bound, good = charge_lanes(
            x, packs, strength_a, total, limits, fitted.bank[rows.HELD_MAIN_OHM]
        )
        near = look_at_ends(fitted, x, packs, bus_v, charger_a, again)
        change(ends, 0, again, bus_v)
        change(ends, 1, again, charger_a)
        change(ends, 2, again, bound)
        found |= far & good & near
        far &= good & ~near
    return found


@part
def look_back(x: Floats, packs: int, each: int, which: int) -> None:
    """Lay the tangents of these lanes where they touched before `look_again`."""
    if which != 0:
        lanes = answers_of(which)
        for p in range(packs):
            for c in range(each):
                z = cell_at(packs, each, p, c)
                change(x, z + rows.HALF, lanes, take(x, z + at.FIRST_HALF))
                change(x, z + rows.AHEAD_SOC, lanes, take(x, z + at.FIRST_SOC))


@part
def look_at_soc(fitted: State, x: Floats, packs: int, each: int) -> int:
    """Where the step takes every cell; returns the bits of the lanes that can go there."""
    going = -1
    for p in range(packs):
        q = pack_at(p)
        pack_a, end_pack_a = take(x, q + rows.PACK_A), take(x, q + at.END_A)
        for c in range(each):
            z, by = cell_at(packs, each, p, c), weights(fitted.cells[p, c])
            out_a, now = take(x, z + rows.OUT_A), CellNow(take(x, z + rows.SOC), 0.0, 0.0)
            start_a, end_a = pack_a - out_a, end_pack_a - out_a
            charging = start_a > 0.0
            half = pick(charging, by.half_in, by.half_out)
            soc = soc_after(by, now, half, start_a, end_a)
            turning = bits_of(charging) ^ bits_of(end_a > 0.0)
            if turning != 0:
                turned_soc = soc_after_turning(by, now, start_a, end_a)
                soc = pick(answers_of(turning), turned_soc, soc)
            put(x, z + at.END_SOC, soc)
            going &= bits_of((soc >= LEAST_SOC) & (soc <= MOST_SOC))
    return going


@part
def go_lanes(
    fitted: State, x: Floats, packs: int, each: int, going: Answers | None, bus_v: Numbers,
    charger_a: Numbers, dt_s: float,
) -> None:  # fmt: skip
    """`harness.world.step.go` in some lanes."""
    for p in range(packs):
        q = pack_at(p)
        start_pack_a, end_pack_a = take(x, q + rows.PACK_A), take(x, q + at.END_A)
        highest_v = spread(-inf)
        for c in range(each):
            z, by = cell_at(packs, each, p, c), weights(fitted.cells[p, c])
            out_a = take(x, z + rows.OUT_A)
            start_a, end_a = start_pack_a - out_a, end_pack_a - out_a
            half = pick(start_a > 0.0, by.half_in, by.half_out)
            soc = take(x, z + at.END_SOC)
            along = Tangent(
                take(x, z + rows.AHEAD_SOC), take(x, z + rows.HALF), take(x, z + rows.AHEAD_V),
                take(x, z + rows.AHEAD_SLOPE),
            )  # fmt: skip
            now = CellNow(
                take(x, z + rows.SOC), take(x, z + rows.PAIR_1_V), take(x, z + rows.PAIR_2_V)
            )
            after, open_v, cell_v = cell_after(by, now, along, soc, start_a, end_a)
            if fitted.cells[p, c, rows.LAG_V] > 0.0:
                lag = lag_in(fitted.cells[p, c], x, z, by)
                share, _ = hysteresis_after(lag.share, soc - lag.soc, lag.rate)
                change(x, z + rows.HYSTERESIS, going, share)
            highest_v = max(highest_v, cell_v)
            change(x, z + rows.AHEAD_SOC, going, soc_after_next(now, half, start_a))
            change(x, z + rows.HALF, going, pick(end_a > 0.0, by.half_in, by.half_out))
            change(x, z + rows.SOC, going, soc)
            change(x, z + rows.OPEN_V, going, open_v)
            change(x, z + rows.CELL_V, going, cell_v)
            change(x, z + rows.PAIR_1_V, going, after.pair_1_v)
            change(x, z + rows.PAIR_2_V, going, after.pair_2_v)
        lead_v = fitted.packs[p, rows.HELD_LEAD_OHM] * end_pack_a
        connected = take(x, q + rows.SIEMENS) > 0.0
        change(x, q + rows.CELL_MAX_V, going, highest_v)
        change(x, q + rows.PACK_A, going, end_pack_a)
        terminal_v = pick(connected, bus_v - lead_v, take(x, q + rows.REST_V))
        change(x, q + rows.TERMINAL_V, going, terminal_v)
    load_a, half_dt_s = take(x, at.LOAD_A), 0.5 * dt_s
    charger_w = take(x, rows.CHARGER_V) * take(x, rows.CHARGER_A)
    load_w = take(x, rows.BUS_V) * load_a
    charger_v = bus_v + fitted.bank[rows.HELD_MAIN_OHM] * charger_a
    charger_j = take(x, rows.CHARGER_J) + half_dt_s * (charger_w + charger_v * charger_a)
    load_j = take(x, rows.LOAD_J) + half_dt_s * (load_w + bus_v * load_a)
    change(x, rows.CHARGER_J, going, charger_j)
    change(x, rows.LOAD_J, going, load_j)
    change(x, rows.BUS_V, going, bus_v)
    change(x, rows.CHARGER_A, going, charger_a)
    change(x, rows.CHARGER_V, going, charger_v)


@part
def step_lanes(
    spec: Spec, fitted: State, lanes: Lanes, b: int, limits: ChargerLimits, dt_s: float,
    starts: bool, ends: Floats,
) -> int:  # fmt: skip
    """Take a block one step on; returns the bits of the arms that are left to `slow_step`.

    Args:
        spec: what the banks are.
        fitted: a state of the same bank that is fitted to a step of this length.
        lanes: of all arms; changed in place.
        b: which block.
        limits: of the charger; voltage and current are those in the lanes.
        dt_s: length of the step, s.
        starts: whether what packs do at the start of the step is wanted.
        ends: room for three rows.
    """
    x, running, spare = lanes.rows[b], lanes.running[b], lanes.spare[b]
    if spec.gas.shape[0] > 0:
        return int(running)
    packs, each = fitted.cells.shape[0], fitted.cells.shape[1]
    going, jumping = in_lanes(x, running, limits)
    if jumping != 0:
        settled = settle_lanes(spec, fitted, x, packs, each, limits, jumping, spare)
        going &= settled | ~jumping
    aims = going & bits_of(take(x, rows.FITTED_S) != dt_s)
    if aims != 0:
        aim_lanes(fitted, x, packs, each, answers_of(aims))
        change(x, rows.FITTED_S, answers_of(aims), dt_s)
    if starts:
        for p in range(packs):
            q = pack_at(p)
            put(x, q + at.START_V, take(x, q + rows.TERMINAL_V))
            put(x, q + at.START_A, take(x, q + rows.PACK_A))
            put(x, q + at.START_CELL_V, take(x, q + rows.CELL_MAX_V))
    if going != 0:
        strength_a, total = look_ahead_lanes(spec.curve, fitted, x, packs, each, None)
        bus_v, charger_a, bound, good = charge_lanes(
            x, packs, strength_a, total, limits, fitted.bank[rows.HELD_MAIN_OHM]
        )
        near = look_at_ends(fitted, x, packs, bus_v, charger_a, None)
        far = going & good & ~near
        going &= good & near
        if far != 0:
            put(ends, 0, bus_v)
            put(ends, 1, charger_a)
            put(ends, 2, bound)
            going |= look_again(spec.curve, fitted, x, limits, far, ends)
            bus_v, charger_a, bound = take(ends, 0), take(ends, 1), take(ends, 2)
        going &= bits_of(bound == take(x, rows.NETWORK))
        going &= look_at_soc(fitted, x, packs, each)
        look_back(x, packs, each, far & ~going)
        if going | spare == ALL:
            go_lanes(fitted, x, packs, each, None, bus_v, charger_a, dt_s)
        else:
            go_lanes(fitted, x, packs, each, answers_of(going), bus_v, charger_a, dt_s)
    left: int = running & ~going
    return left


@aside
def slow_step(
    spec: Spec, fitted: State, lanes: Lanes, b: int, a: int, limits: ChargerLimits, dt_s: float
) -> int:
    """Take one arm that `step_lanes` left one step on, whatever happens in it; returns a `Code`."""
    state, switches = arm_state(lanes, b, a), lanes.switches[b, :, a]
    bank = state.bank
    if bank[rows.FITTED_S] == dt_s:
        for p in range(state.cells.shape[0]):
            state.packs[p, rows.HALF_PER_AS] = fitted.packs[p, rows.HALF_PER_AS]
            for c in range(state.cells.shape[1]):
                for row in range(rows.LEFT_1, rows.LAG_RATE + 1):
                    state.cells[p, c, row] = fitted.cells[p, c, row]
    own = ChargerLimits(bank[at.LIMIT_V], bank[at.LIMIT_A], limits.power_w, limits.regulated_ohm)
    code, _, _, _ = advance(spec, state, 0.0, own, bank[at.LOAD_A], switches)
    if code != rows.OK:
        return code
    for p in range(state.packs.shape[0]):
        pack = state.packs[p]
        pack[at.START_V], pack[at.START_A] = pack[rows.TERMINAL_V], pack[rows.PACK_A]
        pack[at.START_CELL_V] = pack[rows.CELL_MAX_V]
    code, _, _, _ = advance(spec, state, dt_s, own, bank[at.LOAD_A], switches)
    bank[at.SWITCHED], bank[at.OTHER_OHM] = 0.0, 0.0
    return code
