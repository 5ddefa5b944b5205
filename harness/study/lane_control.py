"""Meters, controllers and bank policy of a block of arms, compiled.

At most samples nothing happens: the controller counts, and that is all. Whether a sample is one of
those is asked in all lanes at once, by bounds that follow from the state of the controller
(`watch_anew`); every other sample goes to the rules themselves.
"""

from __future__ import annotations

from math import inf, nan
from typing import NamedTuple

import numpy as np

from ctrl import flat
from ctrl.compiled import FIRST_OWN_CODE
from ctrl.flat import flat_parts, limits_entry
from ctrl.limits import STEP_BACK_S
from ctrl.resets import (
    FIRST_TOUCH,
    HOLD_ONLY,
    RESET_RULES,
    TAPER,
    VOLTAGE_AFTER_HOLD,
    VOLTAGE_AND_TAPER,
)
from ctrl.state import FULL_RESET, NEVER
from ctrl.vocabulary import OnUnconfirmed, Phase, Stage
from harness.study import lanes as at
from harness.study import tally
from harness.study.lanes import Lanes
from harness.study.tally import tally_reset
from harness.world import meter, rows, turn
from harness.world.compiling import aside, part
from harness.world.lane_numbers import (
    ALL,
    Answers,
    Numbers,
    answers_of,
    bits_of,
    change,
    floor,
    pick,
    put,
    take,
)
from harness.world.meter import shown
from harness.world.network import CLOSED
from harness.world.rows import Flags, Floats

_PARTS = flat_parts()
_decide = _PARTS.decide_row
_waiting_since, _asked_of_charger = _PARTS.waiting_since, _PARTS.asked_of_charger

# Entries of `Controls.policy`: index of the policy, the lead, the longest wait less the slack, and
# since when the bank waits.
POLICY, LEAD, WAIT_S, SINCE_S = range(4)
POLICY_ENTRIES = 4
# Columns of a sample that all arms share: when, the stamp, noise of voltage and current, whether it
# can be read, what is left of the step after it, and temperatures.
SAMPLE_S, STAMP_S, NOISE_V, NOISE_A, READABLE, LEFT, COLDEST_C, HOTTEST_C = range(8)
SAMPLE_COLUMNS = 8

_ABSORPTION, _BULK, _FLOAT = int(Stage.ABSORPTION), int(Stage.BULK), int(Stage.FLOAT)
_INHIBITED, _HOLD, _WAIT = int(Stage.INHIBITED), int(Phase.HOLD), int(OnUnconfirmed.WAIT)
_AFTER_HOLD, _FIRST_TOUCH, _HOLD_ONLY, _TAPER, _VOLTAGE_AND_TAPER = (
    list(RESET_RULES.values()).index(rule)
    for rule in (VOLTAGE_AFTER_HOLD, FIRST_TOUCH, HOLD_ONLY, TAPER, VOLTAGE_AND_TAPER)
)
(
    _ENTRY_V, _HOLD_S, _SAG_V, _ON_SAG, _RETURN_V, _RETURN_SOC, _FLOAT_S, _LOW_V, _HIGH_V, _LOW_I,
    _HIGH_I, _EMPTY_V, _CELL_LIMIT_V, _MIN_C, _MAX_C, _MAX_GAP_S, _EFFICIENCY, _PER_COULOMB,
    _CEILING, _COMPENSATION, _FULL_V, _TAPER_A, _ON_UNCONFIRMED, _WAIT_LIMIT_S, _EQUALISATION_V,
) = (
    limits_entry(name)
    for name in (
        "entry_v", "hold_s", "sag_v", "on_sag", "return_v", "return_soc", "float_s", "low_v",
        "high_v", "low_i", "high_i", "empty_v", "cell_limit_v", "charge_min_c", "charge_max_c",
        "max_gap_s", "charge_efficiency", "soc_per_coulomb", "soc_ceiling", "compensation_v_per_c",
        "full_v", "taper_a", "on_unconfirmed", "wait_limit_s", "equalisation_v",
    )
)  # fmt: skip


class Controls(NamedTuple):
    """Controllers and bank policies of all arms.

    Attributes:
        limits: of each controller; shape (blocks, packs, LANES, LIMITS_ENTRIES).
        rules: of each arm; shape (blocks, LANES, RULE_ENTRIES).
        said: what each controller said last, V and A; shape (blocks, LANES, packs, 2).
        stages: `Stage` of each; shape (blocks, LANES, packs).
        at_limit: whether it is inhibited and has read a cell at its limit since; as `stages`.
        before: stages when the bank was asked last, -1 before that; as `stages`.
        shown_v: what each voltmeter showed last, V; as `stages`.
        policy: shape (blocks, LANES, POLICY_ENTRIES).
        asked: voltage (V) and current (A) that the bank asks for; shape (blocks, LANES, 2).
    """

    limits: Floats
    rules: Floats
    said: Floats
    stages: Flags
    at_limit: Flags
    before: Flags
    shown_v: Floats
    policy: Floats
    asked: Floats


@part
def proved_from(code: int, limits: Floats) -> tuple[float, float]:
    """From which voltage and within which current a built-in rule calls a pack full.

    Args:
        code: of the rule, by its place in `ctrl.resets.RESET_RULES`.
        limits: of the controller.
    """
    full_v, taper_a = limits[_FULL_V], limits[_TAPER_A]
    if code == _AFTER_HOLD:
        return full_v, taper_a
    if code == _FIRST_TOUCH:
        return full_v, inf
    if code == _HOLD_ONLY:
        return -inf, inf
    if code == _TAPER and taper_a < inf:
        return -inf, taper_a
    if code == _VOLTAGE_AND_TAPER and taper_a < inf:
        return full_v, taper_a
    return inf, inf


@part
def watch_anew(limits: Floats, rule: Floats, memory: Floats, pack: Floats) -> None:
    """Between which readings the next samples of a controller are only counted.

    Args:
        limits: of the controller; shape (LIMITS_ENTRIES,).
        rule: shape (RULE_ENTRIES,).
        memory: shape (STATE_ENTRIES,).
        pack: rows of its pack; shape (PACK_ROWS,). Changed in place.
    """
    stage, phase = int(memory[flat.STAGE]), int(memory[flat.PHASE])
    from_v, below_v, least_soc = -inf, inf, -inf
    proved_v, proved_a, code = inf, inf, int(rule[flat.CODE])
    counted_s, timer_from_s, runs_out_s = 0.0, NEVER, inf
    quiet = memory[flat.DWELL_SINCE_S] == NEVER
    if stage == _BULK:
        below_v = limits[_ENTRY_V]
    elif stage == _FLOAT:
        from_v, least_soc = limits[_RETURN_V], limits[_RETURN_SOC]
        timer_from_s, runs_out_s = memory[flat.TIMER_FROM_S], limits[_FLOAT_S]
    elif stage == _ABSORPTION:
        asked = rule[flat.DURING_HOLD] > 0.0
        if phase == _HOLD:
            counted_s, timer_from_s = memory[flat.COUNTED_S], memory[flat.TIMER_FROM_S]
            runs_out_s = limits[_HOLD_S]
            quiet = quiet and timer_from_s < NEVER
            if limits[_ON_SAG] > 0.0:
                from_v = limits[_SAG_V]
        else:
            asked, timer_from_s = True, memory[flat.EXPIRED_S]
            runs_out_s = limits[_WAIT_LIMIT_S]
            quiet = quiet and limits[_ON_UNCONFIRMED] == _WAIT
        if asked:
            proved_v, proved_a = proved_from(code, limits)
            # What another condition says to a sample only it can say.
            quiet = quiet and code < FIRST_OWN_CODE
    else:
        quiet = False
    # With a voltage that shifts with temperature every sample is taken to the rules, and with a
    # schedule too.
    quiet = quiet and memory[flat.QUIET] > 0.0 and limits[_COMPENSATION] == 0.0
    quiet = quiet and limits[_EQUALISATION_V] == inf
    # Bounds that count themselves in become the next number beyond.
    pack[at.FROM_V] = max(from_v, limits[_LOW_V], np.nextafter(limits[_EMPTY_V], inf))
    pack[at.BELOW_V] = min(below_v, np.nextafter(limits[_HIGH_V], inf)) if quiet else -inf
    pack[at.LEAST_A], pack[at.MOST_A] = limits[_LOW_I], limits[_HIGH_I]
    pack[at.BELOW_CELL_V] = limits[_CELL_LIMIT_V]
    pack[at.LEAST_C], pack[at.MOST_C] = limits[_MIN_C], limits[_MAX_C]
    pack[at.MOST_GAP_S], pack[at.LEAST_SOC] = limits[_MAX_GAP_S], least_soc
    pack[at.PROVED_V], pack[at.PROVED_A] = proved_v, proved_a
    pack[at.COUNTED_S], pack[at.TIMER_FROM_S], pack[at.RUNS_OUT_S] = (
        counted_s,
        timer_from_s,
        runs_out_s,
    )
    pack[at.EFFICIENCY], pack[at.PER_COULOMB] = limits[_EFFICIENCY], limits[_PER_COULOMB]
    pack[at.CEILING] = limits[_CEILING]


@part
def counted_lanes(
    x: Floats, q: int, soc: Numbers, before_a: Numbers, now_a: Numbers, interval_s: Numbers
) -> Numbers:
    """`ctrl.counting.counted` in every lane."""
    efficiency = take(x, q + at.EFFICIENCY)
    whole = 0.5 * (before_a + now_a) * interval_s
    fills = (before_a >= 0.0) & (now_a >= 0.0)
    empties = (before_a <= 0.0) & (now_a <= 0.0)
    coulombs = pick(fills, efficiency * whole, whole)
    turns = ~(fills | empties)
    if bits_of(turns) != 0:
        crossing_s = interval_s * (before_a / (before_a - now_a))
        first = 0.5 * before_a * crossing_s
        second = 0.5 * now_a * (interval_s - crossing_s)
        turned = pick(before_a > 0.0, efficiency * first + second, first + efficiency * second)
        coulombs = pick(turns, turned, coulombs)
    moved = soc + coulombs * take(x, q + at.PER_COULOMB)
    top = max(soc, take(x, q + at.CEILING))
    return pick(coulombs > 0.0, min(moved, top), max(moved, 0.0))


@part
def quantised_lanes(x: Numbers, per_unit: float) -> Numbers:
    """`harness.world.meter.quantised` in every lane."""
    return x if per_unit == 0.0 else floor(x * per_unit + 0.5) / per_unit


@part
def keep_count(
    x: Floats, memory: int, which: Answers | None, soc: Numbers, t: float, i: Numbers
) -> None:
    """Take a sample into the memory of controllers, from row `memory`, at which nothing else happens."""
    change(x, memory + flat.SOC, which, soc)
    change(x, memory + flat.STAMP_S, which, t)
    change(x, memory + flat.CURRENT_A, which, i)


@part
def count_sample(
    own: Floats, sample: Floats, x: Floats, q: int, which: int, spare: int, reading: Floats,
    shows: bool,
) -> int:  # fmt: skip
    """Read the meters of a pack in every lane, and count where nothing else happens.

    Args:
        own: the pack's row of `Meters.rows`.
        sample: what all arms share; shape (SAMPLE_COLUMNS,).
        x: rows of a block; changed in place.
        q: the first of the pack.
        which: bits of the lanes.
        spare: bits of the lanes that may be written over.
        reading: rows of voltage, current and cell voltage as the meters show them; written where a
            lane must be taken to the rules.
        shows: whether they are written in any case.

    Returns:
        Bits of the lanes that must be taken to the rules.
    """
    v, i = take(x, q + rows.TERMINAL_V), take(x, q + rows.PACK_A)
    cell_v = take(x, q + rows.CELL_MAX_V)
    if sample[LEFT] > 0.0:
        v = v + sample[LEFT] * (take(x, q + at.START_V) - v)
        i = i + sample[LEFT] * (take(x, q + at.START_A) - i)
        cell_v = cell_v + sample[LEFT] * (take(x, q + at.START_CELL_V) - cell_v)
    v, i = shown(own, sample[SAMPLE_S], v, i, sample[NOISE_V], sample[NOISE_A])
    i = quantised_lanes(i, own[meter.I_PER_UNIT])
    cell_v = cell_v + own[meter.CELL_OFFSET]
    t, memory = sample[STAMP_S], q + at.MEMORY
    soc, before_a = take(x, memory + flat.SOC), take(x, memory + flat.CURRENT_A)
    interval_s = t - take(x, memory + flat.STAMP_S)
    counted_soc = counted_lanes(x, q, soc, before_a, i, max(interval_s, 0.0))
    elapsed_s = take(x, q + at.COUNTED_S) + (t - take(x, q + at.TIMER_FROM_S))
    quiet = (
        (i >= take(x, q + at.LEAST_A))
        & (i <= take(x, q + at.MOST_A))
        & (interval_s >= STEP_BACK_S)
        & (interval_s <= take(x, q + at.MOST_GAP_S))
        & (counted_soc >= take(x, q + at.LEAST_SOC))
        & (elapsed_s < take(x, q + at.RUNS_OUT_S))
    )
    if own[meter.READS_TEMPERATURE] > 0.0:
        least_c, most_c = take(x, q + at.LEAST_C), take(x, q + at.MOST_C)
        cold_c, hot_c = sample[COLDEST_C], sample[HOTTEST_C]
        quiet = quiet & (least_c <= cold_c) & (most_c >= cold_c) & (most_c >= hot_c)
    may, rules = bits_of(quiet) & which, which
    if sample[READABLE] > 0.0:
        # What lies more than a step of the meter inside the bounds lies inside them when it is shown.
        near_v, near_cell_v = step_of(own[meter.V_PER_UNIT]), step_of(own[meter.CELL_PER_UNIT])
        rules = which & ~(may & inside(own, x, q, v, i, cell_v, near_v, near_cell_v))
    if shows or rules != 0:
        v = quantised_lanes(v, own[meter.V_PER_UNIT])
        cell_v = quantised_lanes(cell_v, own[meter.CELL_PER_UNIT])
        put(reading, 0, v)
        put(reading, 1, i)
        put(reading, 2, cell_v)
        if sample[READABLE] > 0.0:
            rules = which & ~(may & inside(own, x, q, v, i, cell_v, 0.0, 0.0))
    if (which & ~rules) | spare == ALL:
        keep_count(x, memory, None, counted_soc, t, i)
    else:
        keep_count(x, memory, answers_of(which & ~rules), counted_soc, t, i)
    return rules


@part
def step_of(per_unit: float) -> float:
    """The step of a meter; 0 for none."""
    return 1.0 / per_unit if per_unit > 0.0 else 0.0


@part
def inside(
    own: Floats, x: Floats, q: int, v: Numbers, i: Numbers, cell_v: Numbers, near_v: float,
    near_cell_v: float,
) -> int:  # fmt: skip
    """Bits of the lanes whose voltages lie inside the bounds by this much."""
    quiet = (
        (v >= take(x, q + at.FROM_V) + near_v)
        & (v < take(x, q + at.BELOW_V) - near_v)
        & ~((v >= take(x, q + at.PROVED_V) - near_v) & (abs(i) <= take(x, q + at.PROVED_A)))
    )
    if own[meter.READS_CELLS] > 0.0:
        quiet = quiet & (cell_v < take(x, q + at.BELOW_CELL_V) - near_cell_v)
    lanes: int = bits_of(quiet)
    return lanes


@aside
def take_to_rules(
    controls: Controls, lanes: Lanes, b: int, a: int, p: int, own: Floats, sample: Floats,
    v: float, i: float,
    cell_v: float, true_soc: float, inhibited: int, false_below: float,
) -> bool:  # fmt: skip
    """Let a controller decide on a sample; returns whether the bank must hear of it.

    Args:
        controls: of all arms.
        lanes: of all arms; its switch is moved.
        b: block of the arm.
        a: its lane.
        p: the pack.
        own: the pack's row of `Meters.rows`.
        sample: what all arms share; shape (SAMPLE_COLUMNS,).
        v: reading, V.
        i: reading, A.
        cell_v: reading, V.
        true_soc: of the pack.
        inhibited: what the switch of this pack does when its controller inhibits.
        false_below: true SoC below which a full reset is false.
    """
    if sample[READABLE] == 0.0:
        v, i = nan, nan
    if own[meter.READS_CELLS] == 0.0:
        cell_v = nan
    limits, rule, pack = controls.limits[b, p, a], controls.rules[b, a], lanes.packs[b, p, :, a]
    memory, sums = pack[at.MEMORY : at.SUMS], pack[at.SUMS :]
    output = _decide(
        limits, rule, memory, sample[STAMP_S], v, i, cell_v, sample[COLDEST_C], sample[HOTTEST_C]
    )
    watch_anew(limits, rule, memory, pack)
    stage, asked = output.stage.value, output.asked
    stages, at_limits, said = controls.stages[b, a], controls.at_limit[b, a], controls.said[b, a, p]
    if output.news & FULL_RESET:
        tally_reset(sums, sample[SAMPLE_S], true_soc, false_below)
    if stage == _BULK and stages[p] == _FLOAT:
        sums[tally.FLOAT_TO_BULK] += 1.0
    at_limit = 0
    if stage == _INHIBITED and (at_limits[p] != 0 or cell_v >= limits[_CELL_LIMIT_V]):
        at_limit = 1
    changed: bool = (
        stage != stages[p]
        or at_limit != at_limits[p]
        or asked.voltage_v != said[turn.SAID_V]
        or asked.current_a != said[turn.SAID_A]
    )
    if changed:
        stages[p], at_limits[p] = stage, at_limit
        switch = inhibited if stage == _INHIBITED else CLOSED
        if switch != lanes.switches[b, p, a]:
            lanes.switches[b, p, a] = switch
            lanes.bank[b, at.SWITCHED, a] = 1.0
        said[turn.SAID_V], said[turn.SAID_A] = asked.voltage_v, asked.current_a
    return changed


@aside
def ask_bank(controls: Controls, lanes: Lanes, b: int, a: int, t: float) -> None:
    """Let the policy of an arm say what is asked of its charger from `t` on."""
    policy, stages, before = controls.policy[b, a], controls.stages[b, a], controls.before[b, a]
    said, asked = controls.said[b, a], controls.asked[b, a]
    since_s = _waiting_since(before, stages, policy[SINCE_S], t)
    for p in range(len(stages)):
        before[p] = stages[p]
    asked[0], asked[1] = _asked_of_charger(
        int(policy[POLICY]),
        int(policy[LEAD]),
        t - since_s >= policy[WAIT_S],
        stages,
        said[:, turn.SAID_V],
        said[:, turn.SAID_A],
        controls.at_limit[b, a],
    )
    policy[SINCE_S] = since_s
    due_s = since_s + policy[WAIT_S]
    lanes.bank[b, at.WAKE_S, a] = due_s if t < due_s else inf
