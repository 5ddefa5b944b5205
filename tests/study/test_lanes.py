"""Steps of arms side by side are, to the last bit, the steps that each arm takes alone."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from harness.study import lanes as at
from harness.study.lane_step import slow_step, step_lanes
from harness.study.lanes import Lanes, lanes_of
from harness.world import rows
from harness.world.cell_step import exponential
from harness.world.compiling import unkept
from harness.world.lane_numbers import (
    LANES,
    answers_of,
    bits_of,
    change,
    floor,
    pick,
    put,
    take,
)
from harness.world.network import ChargerLimits
from harness.world.plant import PlantSpec, advance_once
from harness.world.rows import Flags, Floats, Spec, State
from harness.world.step import fit
from tests.world.any_bank import banks, hours

ARMS = 11


@unkept
def advance_lanes(
    spec: Spec, fitted: State, lanes: Lanes, limits: ChargerLimits, dt_s: float, steps: int,
    codes: Flags,
) -> int:  # fmt: skip
    """Some steps of all arms; returns how many steps of arms went together."""
    fit(spec, fitted, dt_s)
    room, together = np.zeros(3 * LANES), 0
    for _ in range(steps):
        for b in range(len(lanes.running)):
            slow = step_lanes(spec, fitted, lanes, b, limits, dt_s, True, room)
            for a in range(LANES):
                if slow >> a & 1:
                    code = slow_step(spec, fitted, lanes, b, a, limits, dt_s)
                    if code != 0:
                        codes[b, a] = code
                        lanes.running[b] &= ~(1 << a)
                elif lanes.running[b] >> a & 1:
                    together += 1
    return together


def _set(lanes: Lanes, fitted: State, spec: PlantSpec, temp_c: float) -> None:
    """What the loop does when the temperature changes."""
    factors = spec.resistance_factors(temp_c)
    if not np.array_equal(factors, fitted.packs[:, rows.FACTOR]):
        fitted.packs[:, rows.FACTOR] = factors
        lanes.packs[:, :, rows.FACTOR] = factors[None, :, None]
        lanes.bank[:, at.OTHER_OHM], lanes.bank[:, rows.FITTED_S] = 1.0, 0.0


@settings(
    max_examples=60, deadline=None, derandomize=True, database=None,
    suppress_health_check=list(HealthCheck),
)  # fmt: skip
@given(data=st.data())
def test_any_bank_in_any_day(data: st.DataObject) -> None:
    spec = data.draw(banks())
    day = data.draw(hours(spec))
    fitted = spec.start().arrays
    lanes = lanes_of(fitted, ARMS)
    alone = [spec.start().arrays for _ in range(ARMS)]
    codes = np.zeros((len(lanes.running), LANES), np.int64)
    ended: dict[int, int] = {}
    for hour in day:
        _set(lanes, fitted, spec, hour.temp_c)
        lanes.bank[:, rows.FITTED_S] *= lanes.bank[:, rows.FITTED_S] == hour.dt_s
        own = []
        for arm in range(ARMS):
            b, a = divmod(arm, LANES)
            limits = hour.limits._replace(
                voltage_v=hour.limits.voltage_v * (1.0 + 1e-4 * arm),
                current_a=hour.limits.current_a * (1.0 - 0.01 * (arm % 3)),
            )
            load_a = hour.load_a * (1.0 if arm % 4 else 0.9)
            lanes.bank[b, at.LIMIT_V, a], lanes.bank[b, at.LIMIT_A, a] = limits[:2]
            lanes.bank[b, at.LOAD_A, a] = load_a
            if lanes.switches[b, :, a].tolist() != hour.switches:
                lanes.switches[b, :, a] = hour.switches
                lanes.bank[b, at.SWITCHED, a] = 1.0
            own.append((limits, load_a))
        advance_lanes(spec.arrays, fitted, lanes, hour.limits, hour.dt_s, hour.steps, codes)
        switches = np.array(hour.switches, np.int64)
        for arm, (limits, load_a) in enumerate(own):
            alone[arm].packs[:, rows.FACTOR] = spec.resistance_factors(hour.temp_c)
            for _ in range(hour.steps):
                for dt_s in (0.0, hour.dt_s):
                    if arm not in ended:
                        code, *_ = advance_once(
                            spec.arrays, alone[arm], dt_s, limits, load_a, switches
                        )
                        if code != rows.OK:
                            ended[arm] = code
    for arm in range(ARMS):
        b, a = divmod(arm, LANES)
        assert codes[b, a] == ended.get(arm, 0)
        if arm in ended:
            continue
        for row in (rows.SOC, rows.PAIR_1_V, rows.PAIR_2_V, rows.HYSTERESIS, rows.CELL_V):
            assert np.array_equal(lanes.cells[b, :, :, row, a], alone[arm].cells[:, :, row]), row
        for row in (rows.PACK_A, rows.TERMINAL_V, rows.CELL_MAX_V):
            assert np.array_equal(lanes.packs[b, :, row, a], alone[arm].packs[:, row]), row
        for row in (rows.BUS_V, rows.CHARGER_V, rows.CHARGER_A, rows.CHARGER_J, rows.LOAD_J):
            assert lanes.bank[b, row, a] == alone[arm].bank[row], row


def test_most_steps_of_a_quiet_bank_are_taken_together() -> None:
    from tests.world.test_many import hut

    spec = hut(1, resolved=False)
    fitted = spec.start().arrays
    lanes = lanes_of(fitted, ARMS)
    lanes.bank[:, at.LIMIT_V], lanes.bank[:, at.LIMIT_A] = 55.6, 30.0
    codes = np.zeros((len(lanes.running), LANES), np.int64)
    limits = ChargerLimits(0.0, 0.0, 4000.0, 5e-3)
    together = advance_lanes(spec.arrays, fitted, lanes, limits, 1.0, 1000, codes)
    assert together > 0.99 * 1000 * ARMS


@unkept
def many_exponentials(x: Floats, y: Floats) -> None:
    for k in range(len(x) // LANES):
        put(y, k, exponential(take(x, k)))


@unkept
def one_exponential(x: float) -> float:
    return exponential(x)


def test_the_exponential_is_exact_but_for_the_last_digit_and_the_same_for_many() -> None:
    x = -np.concatenate([np.linspace(0.0, 2.0, 800), np.logspace(-15.0, 2.8, 800), [0.0] * 8])
    many = np.empty_like(x)
    many_exponentials(x, many)
    assert [one_exponential(value) for value in x] == many.tolist()
    assert many == pytest.approx([exp(value) for value in x], rel=5e-16)
    assert many[-1] == 1.0
    # Smaller than anything that matters, and not below 0.
    assert 0.0 <= one_exponential(-1e9) < 1e-300


@unkept
def some_numbers(x: Floats, y: Floats, which: int) -> int:
    a, b = take(x, 0), take(x, 1)
    put(y, 0, pick(a < b, 2.0 * a, b / a))
    put(y, 1, floor(abs(a - b)))
    change(y, 2, answers_of(which), a)
    change(y, 3, None, max(a, 0.5) - min(b, 0.5))
    bits: int = bits_of((a < b) & ~(b > 0.9) | (a == b))
    return bits


def test_numbers_of_many_lanes_are_calculated_as_one_by_one() -> None:
    x = np.random.default_rng(1).uniform(0.0, 2.0, 2 * LANES)
    x[LANES] = x[0]
    y = np.full(4 * LANES, -1.0)
    bits = some_numbers(x, y, 0b101)
    a, b = x[:LANES], x[LANES:]
    assert np.array_equal(y[:LANES], np.where(a < b, 2.0 * a, b / a))
    assert np.array_equal(y[LANES : 2 * LANES], np.floor(np.abs(a - b)))
    mixed = np.full(LANES, -1.0)
    mixed[[0, 2]] = a[[0, 2]]
    assert np.array_equal(y[2 * LANES : 3 * LANES], mixed)
    assert np.array_equal(y[3 * LANES :], np.maximum(a, 0.5) - np.minimum(b, 0.5))
    answers = ((a < b) & ~(b > 0.9)) | (a == b)
    assert bits == sum(1 << lane for lane in range(LANES) if answers[lane])
