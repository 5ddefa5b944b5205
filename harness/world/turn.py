"""One step of a world, compiled: charger and loads act, the plant moves, the meters read.

Both loops, the one in Python and the compiled one, turn this crank; between two turns they ask the
controllers and the bank policy. What a world is lies in `Rig`, what moves in `Now`.

Order of a step from t0 to t1: (1) the charger listens and sets its limits, the loads and the sun
change, the switches stand where the controllers left them; (2) the plant goes to t1; (3) the meters
that are due in (t0, t1] read, on a straight line between what was at t0 after the jump and
what is at t1. What controllers and bank make of it holds from t1 on.
"""

from __future__ import annotations

from math import inf, nan
from typing import NamedTuple

import numpy as np

from ctrl import limits, vocabulary
from ctrl.vocabulary import Stage
from harness.world import (
    chance,
    charger,
    loads,
    meter,
    network,
    plant,
    rows,
    windows,
)
from harness.world.bank import World
from harness.world.charger import (
    ChargerNumbers,
    ChargerState,
    charger_numbers,
    correct,
    power_limit,
    start_charger,
)
from harness.world.compiling import part
from harness.world.loads import load_current
from harness.world.meter import Meters, due_s, meters_of, read_meter
from harness.world.network import ChargerLimits
from harness.world.plant import PlantSpec, advance
from harness.world.rows import Flags, Floats, Spec, State

# Whatever is compiled into a kernel that calls `turn`.
SOURCES = (
    *plant.SOURCES, __file__, chance, charger, loads, meter, windows, limits, vocabulary
)  # fmt: skip

# Entries of `Rig.numbers`.
STEP_S, SUN_INTERVAL_S, AIR_INTERVAL_S, LEAD = range(4)
# Rows of `Now.start`: what each pack does at the start of a step.
START_V, START_A, START_CELL_V = range(3)
# Rows of `Now.said`: what each controller said last.
SAID_V, SAID_A, SAID_SOC = range(3)
# Rows of `Now.tally`.
ABOVE_FLOAT_S, IN_J, OUT_J, IN_AS, OUT_AS, HIGHEST_V, LOWEST_V, HIGHEST_CELL_V = range(8)
TALLY_ROWS = 8
# Entries of `Now.whole`.
LOAD_A, SUN_W, SUN_J, DENIED_J = range(4)
WHOLE_ENTRIES = 4
# The jitter of two samples can bring them into one step.
MOST_SAMPLES = 3
INHIBITED = int(Stage.INHIBITED)


class Rig(NamedTuple):
    """What a world is.

    Attributes:
        plant: its physics.
        meters: of the packs.
        charger: its charger.
        load_s: when the loads change, s.
        load_w: what they draw from then on, W.
        cut_off: voltages at which the inverter gives up and tries again, V.
        sun_w: power of the sun, W, interval by interval; empty for a source without end.
        air_c: temperature, degrees C, interval by interval.
        factors: resistance factor of each pack in these intervals; shape (intervals, packs).
        gas_factors: what their warmth makes of gassing; the same shape, empty where none gasses.
        warmer_c: what is added for the coldest and the hottest cell; shape (packs, 2).
        inhibited: what each pack's switch does when its controller inhibits.
        float_v: float voltage of each controller, V.
        cell_limit_v: at which each controller trips, V; infinity for none.
        numbers: length of a step, of the intervals of sun and air, index of the lead pack.
    """

    plant: Spec
    meters: Meters
    charger: ChargerNumbers
    load_s: Floats
    load_w: Floats
    cut_off: Floats
    sun_w: Floats
    air_c: Floats
    factors: Floats
    gas_factors: Floats
    warmer_c: Floats
    inhibited: Flags
    float_v: Floats
    cell_limit_v: Floats
    numbers: Floats


class Now(NamedTuple):
    """What moves in a world; every array is changed in place.

    Attributes:
        plant: how the bank is.
        meter: when each next sample is due and its number; shape (packs, METER_STATE_ROWS).
        charger: what the charger remembers.
        loads: of `harness.world.loads`.
        due: how many samples of each pack are to be taken to its controller.
        readings: these samples; shape (packs, MOST_SAMPLES, READING_COLUMNS).
        shown_v: what each voltmeter showed last, V.
        start: shape (packs, 3).
        switches: `Switch` of each pack.
        stages: `Stage` of each controller.
        at_limit: whether it is inhibited and has read a cell at its limit since.
        said: shape (packs, 3).
        asked: voltage (V) and current (A) that the bank asks for.
        tally: sums over the run; shape (packs, TALLY_ROWS).
        whole: load and sun of this step, and sums.
    """

    plant: State
    meter: Floats
    charger: ChargerState
    loads: Floats
    due: Flags
    readings: Floats
    shown_v: Floats
    start: Floats
    switches: Flags
    stages: Flags
    at_limit: Flags
    said: Floats
    asked: Floats
    tally: Floats
    whole: Floats


@part
def turn(rig: Rig, now: Now, k: int) -> int:
    """Step number `k`: from `k · step` on to the next; returns a `Code`."""
    numbers, packs = rig.numbers, now.plant.packs
    step_s, t0 = numbers[STEP_S], k * numbers[STEP_S]
    count = packs.shape[0]
    air = 0
    if len(rig.air_c) > 1:
        air = min(int(t0 / numbers[AIR_INTERVAL_S]), len(rig.air_c) - 1)
        for p in range(count):
            packs[p, rows.FACTOR] = rig.factors[air, p]
            if len(rig.gas_factors) > 0 and packs[p, rows.GAS_FACTOR] != rig.gas_factors[air, p]:
                packs[p, rows.GAS_FACTOR] = rig.gas_factors[air, p]
                packs[p, rows.SEEN_FACTOR] = nan
    sun_w = inf
    if len(rig.sun_w) > 0:
        sun_w = rig.sun_w[min(int(t0 / numbers[SUN_INTERVAL_S]), len(rig.sun_w) - 1)]
        now.whole[SUN_J] += sun_w * step_s
    now.whole[SUN_W] = sun_w
    bank = now.plant.bank
    correct(
        rig.charger, now.charger, t0, now.asked, int(numbers[LEAD]), now.shown_v, bank[rows.NETWORK]
    )
    load_a = load_current(rig.load_s, rig.load_w, rig.cut_off, now.loads, t0, bank[rows.BUS_V])
    now.whole[LOAD_A] = load_a
    if now.loads[loads.GIVEN_UP] > 0.0:
        now.whole[DENIED_J] += rig.load_w[int(now.loads[loads.CHANGE])] * step_s
    bounds = ChargerLimits(
        now.charger.entries[charger.REGULATED_V],
        now.charger.entries[charger.LIMIT_A],
        power_limit(rig.charger, sun_w),
        rig.plant.bank[rows.MAIN_OHM],
    )
    # First the currents jump to where charger, loads and switches put them, then the step is taken.
    for length_s in (0.0, step_s):
        code, _, _, _ = advance(rig.plant, now.plant, length_s, bounds, load_a, now.switches)
        if code != rows.OK:
            return code
        if length_s == 0.0:
            for p in range(count):
                now.start[p, START_V] = packs[p, rows.TERMINAL_V]
                now.start[p, START_A] = packs[p, rows.PACK_A]
                now.start[p, START_CELL_V] = packs[p, rows.CELL_MAX_V]
    for p in range(count):
        count_in(rig, now, p)
        now.due[p] = read_due(rig, now, p, t0, rig.air_c[air])
    return code


@part
def count_in(rig: Rig, now: Now, p: int) -> None:
    """Add a step of a pack to its sums."""
    tally, pack, step_s = now.tally[p], now.plant.packs[p], rig.numbers[STEP_S]
    v, i = pack[rows.TERMINAL_V], pack[rows.PACK_A]
    start_v, start_a = now.start[p, START_V], now.start[p, START_A]
    mean_a = 0.5 * (start_a + i)
    mean_w = 0.5 * (start_v * start_a + v * i)
    if mean_a > 0.0:
        tally[IN_AS] += mean_a * step_s
        tally[IN_J] += mean_w * step_s
    else:
        tally[OUT_AS] -= mean_a * step_s
        tally[OUT_J] -= mean_w * step_s
    if v > rig.float_v[p]:
        tally[ABOVE_FLOAT_S] += step_s
    # A record is seldom broken.
    if v > tally[HIGHEST_V]:
        tally[HIGHEST_V] = v
    if v < tally[LOWEST_V]:
        tally[LOWEST_V] = v
    if pack[rows.CELL_MAX_V] > tally[HIGHEST_CELL_V]:
        tally[HIGHEST_CELL_V] = pack[rows.CELL_MAX_V]


@part
def read_due(rig: Rig, now: Now, p: int, t0: float, air_c: float) -> int:
    """Take the samples of a pack that are due in this step; returns how many are to be handed on."""
    step_s, pack = rig.numbers[STEP_S], now.plant.packs[p]
    handed = 0
    while now.meter[p, meter.DUE_S] <= t0 + step_s and handed < MOST_SAMPLES:
        t, number = now.meter[p, meter.DUE_S], int(now.meter[p, meter.NUMBER])
        v, i, cell_v = pack[rows.TERMINAL_V], pack[rows.PACK_A], pack[rows.CELL_MAX_V]
        if t < t0 + step_s:
            # The jitter can bring the last sample of a run of them a little before this step.
            left = 1.0 - max((t - t0) / step_s, 0.0)
            v += left * (now.start[p, START_V] - v)
            i += left * (now.start[p, START_A] - i)
            cell_v += left * (now.start[p, START_CELL_V] - cell_v)
        arrives = read_meter(
            rig.meters,
            p,
            number,
            t,
            v,
            i,
            cell_v,
            air_c + rig.warmer_c[p, 0],
            air_c + rig.warmer_c[p, 1],
            now.readings[p, handed],
        )
        now.meter[p, meter.NUMBER] = number + 1
        now.meter[p, meter.DUE_S] = due_s(rig.meters, p, number + 1)
        if arrives:
            shown_v = now.readings[p, handed, meter.READ_V]
            if shown_v == shown_v:
                now.shown_v[p] = shown_v
            handed += 1
    return handed


@part
def heed(
    now: Now,
    rig: Rig,
    p: int,
    stage: int,
    soc: float,
    voltage_v: float,
    current_a: float,
    cell_v: float,
) -> bool:
    """Take in what a controller said to a sample; returns whether the bank must hear of it.

    Args:
        now: what moves.
        rig: what the world is.
        p: the pack.
        stage: of its controller, after the sample.
        soc: what it counts.
        voltage_v: what it asks for, V.
        current_a: what it asks for, A.
        cell_v: highest cell voltage that it read, V; NaN for none.
    """
    at_limit = 0
    if stage == INHIBITED and (now.at_limit[p] != 0 or cell_v >= rig.cell_limit_v[p]):
        at_limit = 1
    changed: bool = (
        stage != now.stages[p]
        or at_limit != now.at_limit[p]
        or voltage_v != now.said[p, SAID_V]
        or current_a != now.said[p, SAID_A]
    )
    now.said[p, SAID_SOC] = soc
    if changed:
        now.stages[p], now.at_limit[p] = stage, at_limit
        now.switches[p] = rig.inhibited[p] if stage == INHIBITED else network.CLOSED
        now.said[p, SAID_V], now.said[p, SAID_A] = voltage_v, current_a
    return changed


@part
def true_soc(state: State, p: int) -> float:
    """Mean of the true states of charge of a pack's cells."""
    total, count = 0.0, state.cells.shape[1]
    for c in range(count):
        total += state.cells[p, c, rows.SOC]
    return float(total / count)


def rigged(world: World, spec: PlantSpec) -> Rig:
    """A world and its physics as numbers, its random weather and switching drawn."""
    load_s, load_w = world.loads.course(world.start_s, world.duration_s, world.seed)
    air_c = world.ambient.course_c(world.start_s, world.duration_s)
    warmer = np.array([branch.warmer_c for branch in world.packs], dtype=np.float64)
    spread = np.array([branch.temperature_spread_c for branch in world.packs])
    settings = [branch.settings for branch in world.packs]
    sun = world.sun
    return Rig(
        plant=spec.arrays,
        meters=meters_of([branch.meter for branch in world.packs], world.seed),
        charger=charger_numbers(world.charger, world.seed),
        load_s=load_s,
        load_w=load_w,
        cut_off=np.array(world.loads.cut_off),
        sun_w=np.empty(0)
        if sun is None
        else sun.power_w(world.start_s, world.duration_s, world.seed),
        air_c=air_c,
        factors=spec.resistance_course(air_c, warmer),
        gas_factors=spec.gas_course(air_c, warmer),
        warmer_c=np.stack([warmer, warmer + spread], axis=1),
        inhibited=spec.inhibited_switches,
        float_v=np.array([one.float_v for one in settings]),
        cell_limit_v=np.array(
            [inf if s.cell_limit_v is None else s.cell_limit_v for s in settings]
        ),
        numbers=np.array(
            (
                world.interval_s,
                1.0 if sun is None else sun.interval_s,
                world.ambient.interval_s,
                world.bank.lead,
            ),
            dtype=np.float64,
        ),
    )


def started(world: World, spec: PlantSpec, rig: Rig) -> Now:
    """The start of a world: at rest, every controller in bulk, nothing read yet."""
    packs = len(world.packs)
    state = spec.start(list(rig.air_c[0] + rig.warmer_c[:, 0])).arrays
    switches = np.zeros(packs, np.int64)
    # The loads of the first step want to know the voltage of the bus before it.
    state.bank[rows.BUS_V] = state.packs[:, rows.TERMINAL_V].mean()
    said = np.array(
        [
            (s.settings.absorption_v, s.settings.charge_current_a, s.starting_soc)
            for s in world.packs
        ]
    )
    asked = np.array((said[:, SAID_V].min(), said[:, SAID_A].sum()))
    meter_state = np.zeros((packs, meter.METER_STATE_ROWS))
    meter_state[:, meter.NUMBER] = 1.0
    meter_state[:, meter.DUE_S] = [due_s(rig.meters, p, 1) for p in range(packs)]
    tally = np.zeros((packs, TALLY_ROWS))
    tally[:, [HIGHEST_V, HIGHEST_CELL_V]], tally[:, LOWEST_V] = -inf, inf
    return Now(
        plant=state,
        meter=meter_state,
        charger=start_charger(world.charger, asked[0], asked[1]),
        loads=_no_load_yet(),
        due=np.zeros(packs, np.int64),
        readings=np.full((packs, MOST_SAMPLES, meter.READING_COLUMNS), nan),
        shown_v=np.full(packs, nan),
        start=np.zeros((packs, 3)),
        switches=switches,
        stages=np.zeros(packs, np.int64),
        at_limit=np.zeros(packs, np.int64),
        said=said,
        asked=asked,
        tally=tally,
        whole=np.zeros(WHOLE_ENTRIES),
    )


def _no_load_yet() -> Floats:
    state = np.zeros(loads.LOADS_STATE_ENTRIES)
    state[loads.HELD_CHANGE] = -1.0
    return state
