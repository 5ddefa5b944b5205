"""One pack taken as one cell: the short way from step to step gives what the long one does."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from harness.world import rows
from harness.world.cell import Cell, Pair
from harness.world.many import run_stretch
from harness.world.network import ChargerLimits
from harness.world.pack import Pack
from harness.world.plant import PlantSpec, advance_once
from harness.world.rows import Floats, State

PAIRS = (Pair(0.6e-3, 30.0), Pair(0.9e-3, 600.0))


def bank(
    soc: float, *, pairs: int = 1, count: int = 16, lead_ohm: float = 2e-3, main_ohm: float = 5e-3,
    **cell: float,
) -> PlantSpec:  # fmt: skip
    made = Cell(100.0, 1.2e-3, PAIRS[:pairs], **cell)  # type: ignore[arg-type]
    pack = Pack(made, count, soc, own_consumption_a=0.03)
    return PlantSpec([pack], [lead_ohm], main_ohm, resolved=False)


def in_one_stretch(
    spec: PlantSpec, dt_s: float, limits: ChargerLimits, load_a: Floats, power_w: Floats, every: int
) -> tuple[int, State, Floats]:
    """Steps that went well, the state after them, and what was kept; shape (6, kept)."""
    state, kept = spec.start().arrays, len(load_a) // every
    bus, packs = np.full((3, kept), np.nan), np.full((3, 1, kept), np.nan)
    closed = np.zeros(1, np.int64)
    steps = run_stretch(
        spec.arrays, state, dt_s, limits, load_a, power_w, closed, every, bus, packs
    )
    return steps, state, np.concatenate([bus, packs[:, 0]])


def step_by_step(
    spec: PlantSpec, dt_s: float, limits: ChargerLimits, load_a: Floats, power_w: Floats, every: int
) -> tuple[int, State, Floats]:
    """The same by `advance` alone."""
    state, closed = spec.start().arrays, np.zeros(1, np.int64)
    kept, columns = np.full((6, len(load_a) // every), np.nan), 0
    for k in range(len(load_a)):
        held_w = min(limits.power_w, power_w[k]) if len(power_w) else limits.power_w
        now = limits._replace(power_w=held_w)
        code, *settled = advance_once(spec.arrays, state, dt_s, now, load_a[k], closed)
        if code != rows.OK:
            return k, state, kept
        if (k + 1) % every == 0:
            pack = state.packs[0]
            ends = pack[rows.PACK_A], pack[rows.TERMINAL_V], pack[rows.CELL_MAX_V]
            kept[:, columns] = (*settled, *ends)
            columns += 1
    return len(load_a), state, kept


def assert_same(
    spec: PlantSpec, dt_s: float, limits: ChargerLimits, load_a: Floats, power_w: Floats, every: int
) -> tuple[int, State, Floats]:
    """Every number that comes of both ways, but for a spoiled state; returns what came of them."""
    short = in_one_stretch(spec, dt_s, limits, load_a, power_w, every)
    long = step_by_step(spec, dt_s, limits, load_a, power_w, every)
    assert short[0] == long[0]
    assert short[1].bank[rows.CODE] == long[1].bank[rows.CODE]
    assert short[2].tobytes() == long[2].tobytes()
    if short[0] == len(load_a):
        for ours, theirs in zip(short[1], long[1], strict=True):
            assert ours.tobytes() == theirs.tobytes()
    return short


NONE = np.empty(0)
LIMITS = ChargerLimits(55.6, 80.0, 4000.0, 5e-3)


@pytest.mark.parametrize("pairs", [0, 1, 2])
def test_a_charge_into_the_hold(pairs: int) -> None:
    """Power, then current, then voltage bound the charger, until hardly any current flows."""
    spec, load_a = bank(0.9, pairs=pairs, coulombic_efficiency=0.99), np.full(9000, 5.0)
    steps, state, kept = assert_same(spec, 1.0, LIMITS, load_a, NONE, 1)
    assert steps == 9000
    assert kept[2].max() > 60.0
    assert abs(kept[3, -1]) < 1.0
    assert state.bank[rows.PIECES] > 9000.0


def test_loads_that_come_and_go_and_a_source_that_fades() -> None:
    """Charge and discharge, with self-discharge: every step that cannot be taken shortly is met."""
    rng = np.random.default_rng(11)
    load_a = np.repeat(rng.uniform(0.0, 90.0, 60), 50)
    power_w = np.repeat(rng.uniform(0.0, 5000.0, 100), 30)
    spec = bank(0.6, coulombic_efficiency=0.98, self_discharge_per_month=0.3)
    steps, _, kept = assert_same(spec, 1.0, LIMITS, load_a, power_w, 7)
    assert steps == 3000
    assert kept[3].min() < 0.0 < kept[3].max()


def test_a_current_that_turns_while_nothing_else_changes() -> None:
    """A voltage that recovers takes current from a charger that gives all its power: below the load."""
    power_w = np.repeat([0.0, 2620.0], 600)
    spec = bank(0.6, pairs=2, coulombic_efficiency=0.97)
    _, _, kept = assert_same(spec, 1.0, LIMITS, np.full(1200, 50.0), power_w, 1)
    assert kept[3, 600] > 0.3
    assert kept[3, -1] < -0.3


def test_the_last_step_before_the_end_is_written_down_whole() -> None:
    for count in (1, 2, 3, 17, 40):
        assert_same(bank(0.5), 1.0, LIMITS, np.full(count, 3.0), NONE, 1)


def test_a_step_that_fails_is_the_same_one() -> None:
    """A cell that leaves its range of SoC, and a load that the pack cannot carry."""
    off = ChargerLimits(0.0, 0.0)
    empty = assert_same(bank(0.01), 1.0, off, np.full(9000, 50.0), NONE, 1)
    assert 100 < empty[0] < 9000
    assert empty[1].bank[rows.CODE] != rows.OK
    over = ChargerLimits(500.0, 200.0)
    full = assert_same(bank(1.0), 1.0, over, np.zeros(3000), NONE, 1)
    assert full[0] < 3000
    assert full[1].bank[rows.CODE] == rows.SOC_RANGE


def test_rest_and_nothing_connected_to_it() -> None:
    """Only what the electronics draw, under a charger that is off: never a charging current."""
    off = ChargerLimits(0.0, 0.0)
    steps, state, kept = assert_same(bank(0.5), 1.0, off, np.zeros(500), NONE, 1)
    assert steps == 500
    assert np.all(kept[3] == 0.0)
    assert state.cells[0, 0, rows.SOC] == pytest.approx(0.5 - 500.0 * 0.03 / 360_000.0, abs=1e-12)


@pytest.mark.parametrize(
    "spec",
    [
        bank(0.5, hysteresis_v=0.01),
        PlantSpec([Pack(Cell(100.0, 1.2e-3), 16, 0.5)], [2e-3], 5e-3),
    ],
    ids=["hysteresis", "16 cells"],
)
def test_banks_that_always_go_the_long_way(spec: PlantSpec) -> None:
    assert_same(spec, 1.0, LIMITS, np.full(300, 5.0), NONE, 3)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_any_bank_under_any_limits(data: st.DataObject) -> None:
    draw = data.draw
    spec = bank(
        draw(st.floats(0.02, 1.0)),
        pairs=draw(st.integers(0, 2)),
        count=draw(st.sampled_from([1, 4, 16])),
        lead_ohm=draw(st.sampled_from([0.0, 2e-3])),
        main_ohm=draw(st.sampled_from([0.0, 5e-3])),
        coulombic_efficiency=draw(st.sampled_from([1.0, 0.97])),
        self_discharge_per_month=draw(st.sampled_from([0.0, 0.5])),
    )
    count = spec.packs[0].count
    limits = ChargerLimits(
        count * draw(st.floats(3.2, 3.65)),
        draw(st.sampled_from([inf, 0.0, 20.0, 120.0])),
        draw(st.sampled_from([inf, 0.0, 40.0 * count, 300.0 * count])),
        draw(st.sampled_from([0.0, 5e-3])),
    )
    held = draw(
        st.lists(st.tuples(st.floats(0.0, 60.0), st.integers(1, 60)), min_size=1, max_size=6)
    )
    load_a = np.concatenate([np.full(length, amperes) for amperes, length in held])
    power_w = NONE
    if draw(st.booleans()):
        power_w = np.repeat(
            [draw(st.floats(0.0, 400.0 * count)), draw(st.floats(0.0, 400.0 * count))],
            [len(load_a) // 2, len(load_a) - len(load_a) // 2],
        )
    dt_s = draw(st.sampled_from([0.1, 1.0, 20.0]))
    assert_same(spec, dt_s, limits, load_a, power_w, draw(st.sampled_from([1, 3, 60])))
