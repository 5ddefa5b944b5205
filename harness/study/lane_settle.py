"""What happens at an instant in the banks of a block of arms, compiled: currents share out, and jump.

What `harness.world.moment` and `harness.world.network` do, in lanes; the results are the same to the
last bit.
"""

from __future__ import annotations

from math import inf, sqrt

from harness.study import lanes as at
from harness.study.lanes import cell_at, pack_at
from harness.world import rows
from harness.world.cell_step import weights
from harness.world.compiling import part
from harness.world.lane_numbers import (
    ALL,
    Answers,
    Numbers,
    answers_of,
    bits_of,
    change,
    pick,
    put,
    spread,
    take,
)
from harness.world.moment import MOST_BUS_V
from harness.world.network import CURRENT, OFF, POWER, VOLTAGE, ChargerLimits, alone, together
from harness.world.rows import Floats, Spec, State


@part
def charge_lanes(
    x: Floats, packs: int, strength_a: Numbers, total: Numbers, limits: ChargerLimits,
    main_ohm: float,
) -> tuple[Numbers, Numbers, Numbers, int]:  # fmt: skip
    """`harness.world.network.star` where no switch blocks charging alone.

    Returns:
        Bus voltage (V), charger current (A), what bounds it, and bits of the lanes of which this is
        true: something is connected, and the bus can have this voltage.
    """
    limit_v, limit_a = take(x, at.LIMIT_V), take(x, at.LIMIT_A)
    load_a = take(x, at.LOAD_A)
    if packs == 1:
        source = alone(
            take(x, pack_at(0) + rows.REST_V),
            take(x, pack_at(0) + rows.BRANCH_OHM),
            limits.regulated_ohm,
        )
    else:
        source = together(strength_a, total, limits.regulated_ohm)
    ohm = source.ohm
    loaded_v = source.rest_v - ohm * load_a
    by_voltage_a = (limit_v - loaded_v) * source.share
    off = by_voltage_a <= 0.0
    by_current = limit_a < by_voltage_a
    charger_a = pick(by_current, limit_a, by_voltage_a)
    bound = pick(by_current, float(CURRENT), float(VOLTAGE))
    if limits.power_w < inf:
        terminal_ohm = ohm + main_ohm
        over = charger_a * (loaded_v + terminal_ohm * charger_a) > limits.power_w
        root = sqrt(loaded_v * loaded_v + 4.0 * terminal_ohm * limits.power_w)
        charger_a = pick(over, 2.0 * limits.power_w / (loaded_v + root), charger_a)
        bound = pick(over, float(POWER), bound)
    charger_a, bound = pick(off, 0.0, charger_a), pick(off, float(OFF), bound)
    bus_v = loaded_v + ohm * charger_a
    good = (total > 0.0) & (bus_v > 0.0) & (bus_v < MOST_BUS_V)
    return bus_v, charger_a, bound, bits_of(good)


@part
def in_lanes(x: Floats, running: int, limits: ChargerLimits) -> tuple[int, int]:
    """Bits of the lanes that can go together, and of those in which the currents jump."""
    limit_v, limit_a = take(x, at.LIMIT_V), take(x, at.LIMIT_A)
    load_a = take(x, at.LOAD_A)
    same = (
        (take(x, rows.SEEN_VOLTAGE) == limit_v)
        & (take(x, rows.SEEN_CURRENT) == limit_a)
        & (take(x, rows.SEEN_POWER) == limits.power_w)
        & (take(x, rows.SEEN_LOAD) == load_a)
        & (take(x, at.OTHER_OHM) == 0.0)
    )
    can = (
        (take(x, at.SWITCHED) == 0.0)
        & (take(x, rows.BLOCKED) == 0.0)
        & (take(x, rows.HELD_BALANCING) == 0.0)
        & (limit_v >= 0.0)
        & (limit_a >= 0.0)
        & (load_a >= 0.0)
        & (limit_v < inf)
        & (load_a < inf)
    )
    going = bits_of(can) & running
    return going, going & ~bits_of(same)


@part
def settle_lanes(
    spec: Spec, fitted: State, x: Floats, packs: int, each: int, limits: ChargerLimits,
    jumping: int, spare: int,
) -> int:  # fmt: skip
    """`harness.world.moment.settle_now` in some lanes; returns the bits of those that settled."""
    strength_a, total = spread(0.0), spread(0.0)
    main_ohm = fitted.bank[rows.HELD_MAIN_OHM]
    for p in range(packs):
        q, fixed = pack_at(p), fitted.packs[p]
        rest_v, ohm = spread(0.0), 0.0
        for c in range(each):
            z = cell_at(packs, each, p, c)
            cell_ohm = spec.cells[p, c, rows.OHM] * fixed[rows.FACTOR]
            ohm = ohm + cell_ohm
            open_v, pair_1_v = take(x, z + rows.OPEN_V), take(x, z + rows.PAIR_1_V)
            rest_v = rest_v + ((open_v + pair_1_v) + take(x, z + rows.PAIR_2_V))
            rest_v = rest_v - cell_ohm * take(x, z + rows.OUT_A)
        rest_v = rest_v * fixed[rows.HELD_SERIES]
        branch_ohm = ohm * fixed[rows.HELD_SERIES] + fixed[rows.HELD_LEAD_OHM]
        siemens = take(x, q + rows.THROUGH) / branch_ohm
        put(x, q + rows.REST_V, rest_v)
        put(x, q + rows.BRANCH_OHM, branch_ohm)
        put(x, q + rows.SIEMENS, siemens)
        strength_a, total = strength_a + rest_v * siemens, total + siemens
    bus_v, charger_a, bound, good = charge_lanes(x, packs, strength_a, total, limits, main_ohm)
    settled = jumping & good
    if settled | spare == ALL:
        settle_at(spec, fitted, x, packs, each, limits, None, bus_v, charger_a, bound)
    else:
        settle_at(
            spec, fitted, x, packs, each, limits, answers_of(settled), bus_v, charger_a, bound
        )
    return settled


@part
def settle_at(
    spec: Spec, fitted: State, x: Floats, packs: int, each: int, limits: ChargerLimits,
    which: Answers | None, bus_v: Numbers, charger_a: Numbers, bound: Numbers,
) -> None:  # fmt: skip
    """Let the currents jump to what has been worked out, in some lanes; None for all."""
    main_ohm = fitted.bank[rows.HELD_MAIN_OHM]
    change(x, rows.BUS_V, which, bus_v)
    change(x, rows.CHARGER_A, which, charger_a)
    change(x, rows.CHARGER_V, which, bus_v + main_ohm * charger_a)
    change(x, rows.NETWORK, which, bound)
    change(x, rows.SEEN_VOLTAGE, which, take(x, at.LIMIT_V))
    change(x, rows.SEEN_CURRENT, which, take(x, at.LIMIT_A))
    change(x, rows.SEEN_LOAD, which, take(x, at.LOAD_A))
    change(x, rows.SEEN_POWER, which, limits.power_w)
    change(x, rows.SEEN_REGULATED, which, limits.regulated_ohm)
    change(x, at.OTHER_OHM, which, 0.0)
    for p in range(packs):
        q, fixed = pack_at(p), fitted.packs[p]
        rest_v, siemens = take(x, q + rows.REST_V), take(x, q + rows.SIEMENS)
        pack_a = end_current(x, packs, bus_v, charger_a, rest_v, siemens)
        lead_v = fixed[rows.HELD_LEAD_OHM] * pack_a
        highest_v = spread(-inf)
        for c in range(each):
            z = cell_at(packs, each, p, c)
            cell_ohm = spec.cells[p, c, rows.OHM] * fixed[rows.FACTOR]
            v = (take(x, z + rows.OPEN_V) + take(x, z + rows.PAIR_1_V)) + take(x, z + rows.PAIR_2_V)
            v = v + cell_ohm * (pack_a - take(x, z + rows.OUT_A))
            highest_v = max(highest_v, v)
            change(x, z + rows.CELL_V, which, v)
        change(x, q + rows.PACK_A, which, pack_a)
        change(x, q + rows.TERMINAL_V, which, pick(siemens > 0.0, bus_v - lead_v, rest_v))
        change(x, q + rows.CELL_MAX_V, which, highest_v)
        change(x, q + rows.SEEN_FACTOR, which, fixed[rows.FACTOR])


@part
def end_current(
    x: Floats, packs: int, bus_v: Numbers, charger_a: Numbers, rest_v: Numbers,
    siemens: Numbers,
) -> Numbers:  # fmt: skip
    """`harness.world.network.pack_current` where something is connected."""
    if packs == 1:
        return charger_a - take(x, at.LOAD_A)
    return (bus_v - rest_v) * siemens


@part
def aim_lanes(fitted: State, x: Floats, packs: int, each: int, aims: Answers | None) -> None:
    """`harness.world.step.aim` in some lanes."""
    for p in range(packs):
        pack_a = take(x, pack_at(p) + rows.PACK_A)
        for c in range(each):
            z, by = cell_at(packs, each, p, c), weights(fitted.cells[p, c])
            start_a = pack_a - take(x, z + rows.OUT_A)
            half = pick(start_a > 0.0, by.half_in, by.half_out)
            ahead_soc = take(x, z + rows.SOC) - by.leaked
            change(x, z + rows.HALF, aims, half)
            change(x, z + rows.AHEAD_SOC, aims, ahead_soc + 2.0 * half * start_a)
