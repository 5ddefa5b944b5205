"""All arms of one bank from start to end, step by step side by side, compiled.

What the arms share is worked out once a step: sun, loads, temperature, when which meter reads and
with what noise. Then each block of arms is charged, stepped, read, counted and summed up in lanes;
arms in which more happens than that are taken out of the row for this step and go the long way.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from math import inf, nan
from types import FunctionType
from typing import Any, NamedTuple

import numpy as np

from ctrl import flat
from ctrl.compiled import Condition
from ctrl.flat import flat_parts
from ctrl.limits import TIME_SLACK_S
from ctrl.own_code import told_of
from harness.study import lane_control, lane_settle, lane_step, tally
from harness.study import lanes as at
from harness.study.lane_control import (
    COLDEST_C,
    HOTTEST_C,
    LEFT,
    NOISE_A,
    NOISE_V,
    READABLE,
    SAMPLE_COLUMNS,
    SAMPLE_S,
    STAMP_S,
    Controls,
    ask_bank,
    count_sample,
    take_to_rules,
)
from harness.study.lane_step import slow_step, step_lanes
from harness.study.lanes import Lanes, cell_at, pack_at
from harness.study.tally import day_of, tally_charging, tally_day, tally_end, tally_step
from harness.world import charger, loads, meter, rows, turn
from harness.world.charger import ChargerState, correct, power_limit
from harness.world.compiling import aside, kernel, part, unkept
from harness.world.lane_numbers import (
    LANES,
    Numbers,
    bits_of,
    put,
    take,
)
from harness.world.loads import load_current
from harness.world.meter import due_s, luck_of, stamp_of
from harness.world.network import ChargerLimits
from harness.world.rows import Flags, Floats, State
from harness.world.step import fit
from harness.world.turn import Rig

SOURCES = (
    *turn.SOURCES, *flat_parts().sources, at, lane_settle, lane_step, lane_control, tally, __file__,
)  # fmt: skip

# Entries of `Supply.numbers`: when the chargers listen next, whether nothing but what is asked can
# change what they do; then of the run: its start, s since midnight, what is false, what is full.
NEXT_S, STEADY, START_S, FALSE_BELOW, TRULY_FULL = range(5)
SUPPLY_ENTRIES = 5


class Supply(NamedTuple):
    """Chargers and loads of all arms.

    Attributes:
        chargers: entries of `ChargerState`; shape (blocks, LANES, CHARGER_STATE_ENTRIES).
        underway: messages; shape (blocks, LANES, messages, MESSAGE_COLUMNS).
        asked: bits of the lanes whose bank asks for something else; shape (blocks,).
        numbers: shape (SUPPLY_ENTRIES,).
    """

    chargers: Floats
    underway: Floats
    asked: Flags
    numbers: Floats


class Ends(NamedTuple):
    """How each arm was when its run ended.

    Attributes:
        codes: why it ended, a `Code`; shape (blocks, LANES).
        steps: steps until then; as `codes`.
        bank: rows of the bank; shape (blocks, LANES, BANK_ROWS).
        packs: sums of each pack; shape (blocks, LANES, packs, PACK_ROWS).
        soc: true SoC of every cell; shape (blocks, LANES, packs, cells).
        said: what each controller counts, and the true voltage of its pack, V; shape (blocks, LANES,
            packs, 2).
    """

    codes: Flags
    steps: Flags
    bank: Floats
    packs: Floats
    soc: Floats
    said: Floats


@part
def warm(rig: Rig, fitted: State, lanes: Lanes, air: int, step_s: float) -> None:
    """Take the resistances of an interval of temperature."""
    other = False
    for p in range(rig.factors.shape[1]):
        other |= rig.factors[air, p] != fitted.packs[p, rows.FACTOR]
        if len(rig.gas_factors) > 0:
            other |= rig.gas_factors[air, p] != fitted.packs[p, rows.GAS_FACTOR]
            fitted.packs[p, rows.GAS_FACTOR] = rig.gas_factors[air, p]
    if other:
        for p in range(rig.factors.shape[1]):
            fitted.packs[p, rows.FACTOR] = rig.factors[air, p]
            for b in range(lanes.rows.shape[0]):
                put(lanes.rows[b], pack_at(p) + rows.FACTOR, rig.factors[air, p])
                if len(rig.gas_factors) > 0:
                    put(lanes.rows[b], pack_at(p) + rows.GAS_FACTOR, rig.gas_factors[air, p])
                    put(lanes.rows[b], pack_at(p) + rows.SEEN_FACTOR, nan)
        fit(rig.plant, fitted, step_s)
        for b in range(lanes.rows.shape[0]):
            put(lanes.rows[b], at.OTHER_OHM, 1.0)
            put(lanes.rows[b], rows.FITTED_S, 0.0)


@part
def draw_samples(
    rig: Rig, numbers: Floats, t0: float, step_s: float, air_c: float, due: Flags, samples: Floats
) -> bool:
    """Which samples are taken in this step, and what all arms share of them.

    Args:
        rig: what the world is.
        numbers: when each next sample is due and its number; shape (packs, METER_STATE_ROWS).
        t0: start of the step, s.
        step_s: its length, s.
        air_c: temperature, degrees C.
        due: how many samples of each pack there are; written.
        samples: shape (packs, MOST_SAMPLES, SAMPLE_COLUMNS); written.

    Returns:
        Whether one of them lies before the end of the step.
    """
    early = False
    for p in range(len(due)):
        own, handed = rig.meters.rows[p], 0
        while numbers[p, meter.DUE_S] <= t0 + step_s and handed < turn.MOST_SAMPLES:
            t, number = numbers[p, meter.DUE_S], int(numbers[p, meter.NUMBER])
            arrives, readable, noise_v, noise_a = luck_of(rig.meters, p, number, t)
            if arrives:
                sample = samples[p, handed]
                sample[SAMPLE_S], sample[STAMP_S] = t, stamp_of(own, t)
                sample[NOISE_V], sample[NOISE_A] = noise_v, noise_a
                sample[READABLE] = 1.0 if readable else 0.0
                sample[LEFT] = 0.0
                if t < t0 + step_s:
                    sample[LEFT] = 1.0 - max((t - t0) / step_s, 0.0)
                    early = True
                sample[COLDEST_C], sample[HOTTEST_C] = nan, nan
                if own[meter.READS_TEMPERATURE] > 0.0:
                    off_c, per_unit = own[meter.TEMP_OFFSET], own[meter.TEMP_PER_UNIT]
                    cold_c, hot_c = air_c + rig.warmer_c[p, 0], air_c + rig.warmer_c[p, 1]
                    sample[COLDEST_C] = meter.quantised(cold_c + off_c, per_unit)
                    sample[HOTTEST_C] = meter.quantised(hot_c + off_c, per_unit)
                handed += 1
            numbers[p, meter.NUMBER] = number + 1
            numbers[p, meter.DUE_S] = due_s(rig.meters, p, number + 1)
        due[p] = handed
    return early


@aside
def charge_anew(
    rig: Rig, supply: Supply, controls: Controls, lanes: Lanes, b: int, which: int, t: float,
    due_at_s: float,
) -> None:  # fmt: skip
    """Let the chargers of some arms listen and set their limits."""
    for a in range(LANES):
        if which >> a & 1:
            entries, bank = supply.chargers[b, a], lanes.bank[b, :, a]
            # Where nothing was asked for anew, it has not listened at the times in between.
            entries[charger.NEXT_S] = due_at_s
            correct(
                rig.charger, ChargerState(entries, supply.underway[b, a]), t, controls.asked[b, a],
                int(controls.policy[b, a, lane_control.LEAD]), controls.shown_v[b, a],
                bank[rows.NETWORK],
            )  # fmt: skip
            bank[at.LIMIT_V] = entries[charger.REGULATED_V]
            bank[at.LIMIT_A] = entries[charger.LIMIT_A]


@aside
def load_anew(
    rig: Rig, lanes: Lanes, b: int, which: int, t: float, step_s: float
) -> None:  # fmt: skip
    """What the loads of some arms draw in the step that begins now."""
    for a in range(LANES):
        if which >> a & 1:
            bank = lanes.bank[b, :, a]
            state = bank[at.LOADS : at.BANK_SUMS]
            bank[at.LOAD_A] = load_current(
                rig.load_s, rig.load_w, rig.cut_off, state, t, bank[rows.BUS_V]
            )
            if state[loads.GIVEN_UP] > 0.0:
                denied_w = rig.load_w[int(state[loads.CHANGE])]
                bank[at.BANK_SUMS + tally.DENIED_J] += denied_w * step_s


@part
def other_loads(rig: Rig, x: Floats, running: int, change: int) -> int:
    """Bits of the arms whose loads may draw another current than in the step before."""
    bus_v = take(x, rows.BUS_V)
    moved_v = abs(bus_v - take(x, at.LOADS + loads.HELD_AT_V))
    same = (
        (take(x, at.LOADS + loads.GIVEN_UP) == 0.0)
        & (take(x, at.LOADS + loads.HELD_CHANGE) == float(change))
        & (bus_v > 0.0)
        & (bus_v >= rig.cut_off[0])
        & (moved_v <= loads.HELD_SHARE * bus_v)
    )
    other: int = running & ~bits_of(same)
    return other


@part
def true_soc_lanes(x: Floats, packs: int, each: int, p: int) -> Numbers:
    """Mean of the true states of charge of a pack's cells."""
    total = take(x, cell_at(packs, each, p, 0) + rows.SOC)
    for c in range(1, each):
        total = total + take(x, cell_at(packs, each, p, c) + rows.SOC)
    return total / float(each)


@aside
def end_arm(lanes: Lanes, ends: Ends, b: int, a: int, k: int, code: int) -> None:
    """The end of the run of one arm after so many steps, for this reason."""
    lanes.running[b] &= ~(1 << a)
    for p in range(lanes.packs.shape[1]):
        tally_end(lanes.packs[b, p, at.SUMS :, a], lanes.errors[b, a], k)
        for c in range(lanes.cells.shape[2]):
            ends.soc[b, a, p, c] = lanes.cells[b, p, c, rows.SOC, a]
        ends.said[b, a, p, 0] = lanes.packs[b, p, at.MEMORY + flat.SOC, a]
        ends.said[b, a, p, 1] = lanes.packs[b, p, rows.TERMINAL_V, a]
        for row in range(tally.PACK_ROWS):
            ends.packs[b, a, p, row] = lanes.packs[b, p, at.SUMS + row, a]
    for row in range(at.BANK_ROWS):
        ends.bank[b, a, row] = lanes.bank[b, row, a]
    ends.codes[b, a], ends.steps[b, a] = code, k


@part
def read_block(
    rig: Rig, lanes: Lanes, controls: Controls, b: int, due: Flags, samples: Floats,
    reading: Floats, false_below: float,
) -> int:  # fmt: skip
    """Let the controllers of a block take the samples of this step.

    Returns:
        Bits of the arms whose bank must hear of it.
    """
    x, changed, running, spare = lanes.rows[b], 0, lanes.running[b], lanes.spare[b]
    packs, each = len(due), rig.plant.cells.shape[1]
    senses = rig.charger.entries[charger.SENSES] > 0.0
    for p in range(packs):
        own = rig.meters.rows[p]
        for j in range(due[p]):
            sample = samples[p, j]
            rules = count_sample(own, sample, x, pack_at(p), running, spare, reading, senses)
            if senses and sample[READABLE] > 0.0:
                for a in range(LANES):
                    controls.shown_v[b, a, p] = reading[a]
            if rules != 0:
                put(reading, 3, true_soc_lanes(x, packs, each, p))
                for a in range(LANES):
                    if rules >> a & 1:
                        heard = take_to_rules(
                            controls, lanes, b, a, p, own, sample, reading[a],
                            reading[LANES + a], reading[2 * LANES + a], reading[3 * LANES + a],
                            rig.inhibited[p], false_below,
                        )  # fmt: skip
                        if heard:
                            changed |= 1 << a
    return changed


def run_arms(
    rig: Rig,
    fitted: State,
    lanes: Lanes,
    controls: Controls,
    supply: Supply,
    ends: Ends,
    numbers: Floats,
    steps: int,
) -> None:
    """Run all arms so many steps, or each until its plant cannot go on.

    Args:
        rig: what the bank is; what differs from arm to arm is not read.
        fitted: how the bank is at the start.
        lanes: the same in every arm; changed in place, as all that follows.
        controls: of all arms.
        supply: of all arms.
        ends: of all arms.
        numbers: when each next sample is due and its number; shape (packs, METER_STATE_ROWS).
        steps: how many.
    """
    step_s, blocks = rig.numbers[turn.STEP_S], lanes.rows.shape[0]
    packs, each = rig.plant.cells.shape[0], rig.plant.cells.shape[1]
    start_s, false_below = supply.numbers[START_S], supply.numbers[FALSE_BELOW]
    truly_full, steady = supply.numbers[TRULY_FULL], supply.numbers[STEADY] > 0.0
    due, reading = np.zeros(packs, np.int64), np.zeros(4 * LANES)
    ends_of_step = np.zeros(3 * LANES)
    samples = np.zeros((packs, turn.MOST_SAMPLES, SAMPLE_COLUMNS))
    fit(rig.plant, fitted, step_s)
    change, day = 0, day_of(start_s, step_s, 0)
    for k in range(steps):
        t0, t1 = k * step_s, (k + 1) * step_s
        air = 0
        if len(rig.air_c) > 1:
            air = min(int(t0 / rig.numbers[turn.AIR_INTERVAL_S]), len(rig.air_c) - 1)
            warm(rig, fitted, lanes, air, step_s)
        sun_w = inf
        if len(rig.sun_w) > 0:
            sun_w = rig.sun_w[min(int(t0 / rig.numbers[turn.SUN_INTERVAL_S]), len(rig.sun_w) - 1)]
        while change + 1 < len(rig.load_s) and rig.load_s[change + 1] <= t0:
            change += 1
        early = draw_samples(rig, numbers, t0, step_s, rig.air_c[air], due, samples)
        listens, due_at_s = t0 >= supply.numbers[NEXT_S] - TIME_SLACK_S, supply.numbers[NEXT_S]
        if listens:
            while supply.numbers[NEXT_S] <= t0 + TIME_SLACK_S:
                supply.numbers[NEXT_S] += rig.charger.entries[charger.INTERVAL_S]
        source_w = power_limit(rig.charger, sun_w)
        limits = ChargerLimits(0.0, 0.0, source_w, rig.plant.bank[rows.MAIN_OHM])
        tomorrow = day_of(start_s, step_s, k + 1)
        alive = 0
        for b in range(blocks):
            x, which = lanes.rows[b], lanes.running[b]
            if which == 0:
                continue
            if listens:
                if steady:
                    which &= supply.asked[b]
                if which != 0:
                    charge_anew(rig, supply, controls, lanes, b, which, t0, due_at_s)
                    supply.asked[b] = 0
            which = other_loads(rig, x, lanes.running[b], change)
            if which != 0:
                load_anew(rig, lanes, b, which, t0, step_s)
            slow = step_lanes(rig.plant, fitted, lanes, b, limits, step_s, early, ends_of_step)
            if slow != 0:
                for a in range(LANES):
                    if slow >> a & 1:
                        code = slow_step(rig.plant, fitted, lanes, b, a, limits, step_s)
                        if code != rows.OK:
                            end_arm(lanes, ends, b, a, k, code)
            running = lanes.running[b]
            alive |= running
            if len(rig.sun_w) > 0:
                most_w = rig.charger.entries[charger.CURRENT_A] * take(x, rows.CHARGER_V)
                available = at.BANK_SUMS + tally.AVAILABLE_J
                put(x, available, take(x, available) + min(most_w, source_w) * step_s)
            charger_a = take(x, rows.CHARGER_A)
            if bits_of(charger_a > 0.0) != 0:
                for p in range(packs):
                    q = pack_at(p)
                    tally_charging(x, q + at.SUMS, charger_a, take(x, q + rows.PACK_A), t0)
            changed = read_block(rig, lanes, controls, b, due, samples, reading, false_below)
            for p in range(packs):
                q = pack_at(p)
                counted_soc = take(x, q + at.MEMORY + flat.SOC)
                tally_step(
                    x, q + at.SUMS, lanes.errors[b], running, counted_soc,
                    true_soc_lanes(x, packs, each, p), take(x, q + rows.CELL_MAX_V), k,
                    false_below, truly_full,
                )  # fmt: skip
            changed |= running & bits_of(take(x, at.WAKE_S) <= t1)
            if changed != 0:
                supply.asked[b] |= changed
                for a in range(LANES):
                    if changed >> a & 1:
                        ask_bank(controls, lanes, b, a, t1)
            if tomorrow != day and k + 1 < steps:
                for p in range(packs):
                    for a in range(LANES):
                        tally_day(lanes.packs[b, p, at.SUMS :, a])
        day = tomorrow
        if alive == 0:
            break
    for b in range(blocks):
        for a in range(LANES):
            if lanes.running[b] >> a & 1:
                end_arm(lanes, ends, b, a, steps, rows.OK)


_built_in = kernel(*SOURCES)(run_arms)


@cache
def runner(conditions: tuple[Condition, ...]) -> Any:
    """`run_arms` compiled, with the conditions of reset rules beside the built-in ones."""
    if not conditions:
        return _built_in
    # numba does not see which conditions are called: the folder is named by them.
    told = told_of(conditions)
    make_kernel = unkept if told is None else kernel(*SOURCES, more=told)
    names = {**vars(lane_control), **globals(), "_decide": flat_parts(conditions).decide_row}
    makers: tuple[tuple[Any, Callable[..., Any]], ...] = (
        (take_to_rules, aside), (read_block, part), (run_arms, make_kernel),
    )  # fmt: skip
    for of, make in makers:
        function = getattr(of, "py_func", of)
        names[function.__name__] = make(FunctionType(function.__code__, names, function.__name__))
    return names["run_arms"]
