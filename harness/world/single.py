"""One pack taken as one cell, compiled: its steps in registers for as long as nothing jumps or bends.

What a step does stands in the functions that `harness.world.step` calls too, so the results are the
same to the last bit. Here is only the way from step to step without arrays in between, which takes
half the time. A step in which something jumps or bends is left to `harness.world.step.advance`, and
so is the last one before that: of it `advance` also writes down what no step needs of another.
"""

from __future__ import annotations

from harness.world import rows
from harness.world.cell_step import (
    LEAST_SOC,
    MOST_SOC,
    Lag,
    behind,
    cell_after,
    cell_ahead,
    cell_now,
    soc_after,
    soc_after_next,
    touching,
    weights,
)
from harness.world.compiling import aside, part
from harness.world.moment import sound
from harness.world.network import CLOSED, ChargerLimits, alone, charge
from harness.world.rows import Flags, Floats, Spec, State
from harness.world.step import NEAR_SOC

# Where not even one step went well, `advance` takes this many before another try.
PAUSE_STEPS = 16


@part
def is_single(spec: Spec, switches: Flags) -> bool:
    """Whether `run_single` can take this bank: one connected pack, one cell, no hysteresis, no gas."""
    cells = spec.cells
    return bool(
        cells.shape[0] == 1
        and cells.shape[1] == 1
        and cells[0, 0, rows.HYSTERESIS_V] == 0.0
        and spec.bank[rows.BALANCING] == 0.0
        and spec.gas.shape[0] == 0
        and switches[0] == CLOSED
    )


@part
def goes_on(load_a: Floats, power_w: Floats, k: int) -> bool:
    """Whether there is a step `k`, and load and power in it are those of the step before."""
    if k >= len(load_a) or load_a[k] != load_a[k - 1]:
        return False
    return bool(len(power_w) == 0 or power_w[k] == power_w[k - 1])


@aside
def run_single(
    spec: Spec,
    state: State,
    limits: ChargerLimits,
    load_a: Floats,
    power_w: Floats,
    first: int,
    every: int,
    kept: int,
    bank_rows: Floats,
    pack_rows: Floats,
) -> tuple[int, int]:
    """Take steps of the length that is fitted, from step `first` of a stretch that `goes_on` there.

    Args:
        spec: what the bank is; `is_single`.
        state: how it is; changed in place.
        limits: of the charger in the step before, the source's power among them.
        load_a: as in `harness.world.many.run_stretch`, like all that follows.
        power_w: the same.
        first: the step to begin with.
        every: the same.
        kept: how many columns are kept so far.
        bank_rows: the same.
        pack_rows: the same.

    Returns:
        The step to go on with, and how many columns are kept then.
    """
    bank, pack, row = state.bank, state.packs[0], state.cells[0, 0]
    by, now, out_a = weights(row), cell_now(row), row[rows.OUT_A]
    no_lag = Lag(0.0, 0.0, 0.0, 0.0)
    pack_a, half_per_as = pack[rows.PACK_A], pack[rows.HALF_PER_AS]
    series, lead_ohm, through = pack[rows.HELD_SERIES], pack[rows.HELD_LEAD_OHM], pack[rows.THROUGH]
    bus_v, charger_v, charger_a = bank[rows.BUS_V], bank[rows.CHARGER_V], bank[rows.CHARGER_A]
    charger_j, load_j = bank[rows.CHARGER_J], bank[rows.LOAD_J]
    main_ohm, network_state = bank[rows.HELD_MAIN_OHM], int(bank[rows.NETWORK])
    half_dt_s, held_load_a = 0.5 * bank[rows.FITTED_S], load_a[first]
    charger_w, load_w = charger_v * charger_a, bus_v * held_load_a
    start_a = pack_a - out_a
    charging = start_a > 0.0
    half = by.half_in if charging else by.half_out
    along = touching(spec.curve, no_lag, row[rows.AHEAD_SOC], half)
    bus_kept_v, charger_kept_v, charger_kept_a = (
        bank_rows[0, kept:], bank_rows[1, kept:], bank_rows[2, kept:],
    )  # fmt: skip
    pack_kept_a, pack_kept_v, cell_kept_v = (
        pack_rows[0, 0, kept:], pack_rows[1, 0, kept:], pack_rows[2, 0, kept:],
    )  # fmt: skip
    column, until_kept = 0, every - first % every
    # Counted from 0, so that the compiler knows that no index is negative.
    loads_a, powers_w = load_a[first:], power_w[first:]
    steps = 0
    for k in range(len(loads_a)):
        if not goes_on(loads_a, powers_w, k + 1):
            break
        # The next tangent takes long, and nothing of this step: begun first, it is there in time.
        soc_next = soc_after_next(now, half, start_a)
        along_next = touching(spec.curve, no_lag, soc_next, half)
        cell_rest_v, cell_ohm, off_soc = cell_ahead(by, now, along, out_a, start_a)
        rest_v, ohm, _ = behind(cell_rest_v, cell_ohm, series, lead_ohm, through)
        source = alone(rest_v, ohm, limits.regulated_ohm)
        end_bus_v, end_charger_a, bound = charge(source, limits, held_load_a, main_ohm)
        end_pack_a = end_charger_a - held_load_a
        end_a = end_pack_a - out_a
        off_soc = abs(off_soc + half * start_a) + half_per_as * abs(end_pack_a - pack_a)
        if bound != network_state or (end_a > 0.0) != charging or not sound(end_bus_v, bound):
            break
        soc = soc_after(by, now, half, start_a, end_a)
        if not off_soc <= NEAR_SOC or not LEAST_SOC <= soc <= MOST_SOC:
            break
        after, _, cell_v = cell_after(by, now, along, soc, start_a, end_a)
        now, along, start_a, pack_a = after, along_next, end_a, end_pack_a
        bus_v, charger_a, charger_v = end_bus_v, end_charger_a, end_bus_v + main_ohm * end_charger_a
        end_charger_w, end_load_w = charger_v * charger_a, bus_v * held_load_a
        charger_j += half_dt_s * (charger_w + end_charger_w)
        load_j += half_dt_s * (load_w + end_load_w)
        charger_w, load_w = end_charger_w, end_load_w
        steps += 1
        until_kept -= 1
        if until_kept == 0:
            until_kept = every
            if 0 <= column < len(bus_kept_v):
                bus_kept_v[column], charger_kept_v[column] = bus_v, charger_v
                charger_kept_a[column], pack_kept_a[column] = charger_a, pack_a
                pack_kept_v[column], cell_kept_v[column] = bus_v - lead_ohm * pack_a, cell_v
                column += 1
    row[rows.SOC], row[rows.PAIR_1_V], row[rows.PAIR_2_V] = now.soc, now.pair_1_v, now.pair_2_v
    row[rows.AHEAD_SOC], pack[rows.PACK_A] = along.soc, pack_a
    bank[rows.BUS_V], bank[rows.CHARGER_V], bank[rows.CHARGER_A] = bus_v, charger_v, charger_a
    bank[rows.CHARGER_J], bank[rows.LOAD_J] = charger_j, load_j
    bank[rows.PIECES] += steps
    return first + steps, kept + column
