"""The plant against closed forms of circuits that have one; numbers are literal."""

from __future__ import annotations

from math import exp, inf

import numpy as np
import pytest

from harness.world.cell import Cell, Pair
from harness.world.curves import affine
from harness.world.many import PhysicsRun, run_physics
from harness.world.network import Bound, ChargerLimits
from harness.world.pack import Pack
from harness.world.plant import Plant, PlantSpec

LINE = affine(52.0, 2.0)


def one_pack(cell: Cell, soc: float) -> PlantSpec:
    return PlantSpec([Pack(cell, count=1, soc=soc)], [0.0])


def current_only(current_a: float) -> ChargerLimits:
    return ChargerLimits(inf, current_a)


@pytest.mark.parametrize("dt_s", [0.1, 1.0, 30.0])
def test_rc_step(dt_s: float) -> None:
    """V = OCV + I·R0 + I·R1(1 - e^(-t/τ)): closed form, equals package `thevenin` 0.2.1; 1e-6 V.

    OCV 52 + 2s, s0 0.5, 100 Ah, 20 mΩ, 10 mΩ, 3000 F, 20 A.
    """
    spec = one_pack(Cell(100.0, 0.020, (Pair(0.010, 30.0),), curve=LINE), 0.5)
    steps = round(120.0 / dt_s)
    run = run_physics([spec], dt_s, current_only(20.0), np.zeros(steps), every=1)[0]
    expected = {1: 53.406667891, 30: 53.529757445, 60: 53.579599610, 120: 53.609670205}
    for second, volts in expected.items():
        if second % dt_s < 1e-9 or dt_s < 1.0:
            assert run.packs[1, 0, round(second / dt_s) - 1] == pytest.approx(volts, abs=1e-6)


@pytest.fixture(params=[1.0, 7.0])
def charge(request: pytest.FixtureRequest) -> PhysicsRun:
    """20 A into 52 V + 2s behind 20 mΩ, 100 Ah from 0.2, up to 54 V and then held there."""
    dt_s = float(request.param)
    spec = one_pack(Cell(100.0, 0.020, curve=LINE), 0.2)
    limits = ChargerLimits(54.0, 20.0)
    return run_physics([spec], dt_s, limits, np.zeros(int(16_000 / dt_s)), every=1)[0]


def test_constant_current_ends_at_10800_s(charge: PhysicsRun) -> None:
    """CC-CV closed form: 10800 s to s = 0.8, then τ = QR/b = 3600 s.

    With steps of 7 s the change lies inside a step, 6 s in: just before it 20 A flow, just after
    it 20·e^(-(t - 10800)/3600).
    """
    time_s, current_a = charge.time_s, charge.packs[0, 0]
    before = time_s <= 10_800.0
    assert current_a[before] == pytest.approx(20.0, abs=1e-9)
    first = int(np.flatnonzero(~before)[0])
    assert current_a[first] == pytest.approx(
        20.0 * exp(-(time_s[first] - 10800.0) / 3600.0), abs=1e-5
    )
    assert charge.packs[1, 0, first:] == pytest.approx(54.0, abs=1e-9)
    assert charge.state.bound == Bound.VOLTAGE


def test_constant_voltage_tapers_by_the_exponential(charge: PhysicsRun) -> None:
    """t_CV = τ ln(20/5) = 4990.6597 s to 5 A, at s = 0.95."""
    time_s, current_a, terminal_v = charge.time_s, charge.packs[0, 0], charge.packs[1, 0]
    cut_s = float(np.interp(-5.0, -current_a[time_s > 11_000], time_s[time_s > 11_000]))
    assert cut_s - 10_800.0 == pytest.approx(4990.6597, abs=0.01)
    soc = (terminal_v - 0.020 * current_a - 52.0) / 2.0
    assert float(np.interp(cut_s, time_s, soc)) == pytest.approx(0.95, abs=1e-6)


def test_the_change_costs_one_step_in_two_pieces() -> None:
    spec = one_pack(Cell(100.0, 0.020, curve=LINE), 0.2)
    plant = Plant(spec)
    for _ in range(1543):
        plant.advance(7.0, ChargerLimits(54.0, 20.0))
    # 10801 s: one second under constant voltage.
    assert plant.time_s == 10_801.0
    assert plant.state.pack_a[0] == pytest.approx(20.0 * exp(-1.0 / 3600.0), abs=1e-7)
    # 20 A · 3600 s · (1 - e^(-1/3600)) on 100 Ah.
    assert plant.state.soc[0, 0] == pytest.approx(0.8000555478, abs=1e-9)


@pytest.fixture(scope="module")
def two_packs() -> PhysicsRun:
    """Ra 0.15 Ω, Qa 3 Ah, Qa/Qb 0.7, Ra/Rb 1.1, slope 1.2 V, z0 0.2/0.3, charged with 3 A."""
    line = affine(3.0, 1.2)
    packs = [
        Pack(Cell(3.0, 0.15, curve=line), count=1, soc=0.2),
        Pack(Cell(3.0 / 0.7, 0.15 / 1.1, curve=line), count=1, soc=0.3),
    ]
    spec = PlantSpec(packs, [0.0, 0.0])
    return run_physics([spec], 1.0, current_only(3.0), np.zeros(3600), every=1)[0]


@pytest.mark.parametrize(
    ("second", "apart"), [(600, -0.0522417), (1200, -0.0200925), (3600, 0.0325260)]
)
def test_two_packs_drift_by_the_closed_form(
    two_packs: PhysicsRun, second: int, apart: float
) -> None:
    """Δz = Δz0 e^(-t/τ) + κI(1 - e^(-t/τ)), τ 1516.0428 s, κ -0.01537433 (there: discharge positive).

    Weng et al., arXiv:2211.04961 and 2310.10396; their I of -3 A is 3 A of charge here.
    """
    current_a, terminal_v = two_packs.packs[0, :, second - 1], two_packs.packs[1, :, second - 1]
    soc = (terminal_v - np.array([0.15, 0.15 / 1.1]) * current_a - 3.0) / 1.2
    assert soc[0] - soc[1] == pytest.approx(apart, abs=1e-6)


def test_two_packs_share_in_the_end_by_capacity() -> None:
    """The same source: steady Ia/Ib = Qa/Qb = 0.7."""
    line = affine(3.0, 1.2)
    packs = [
        Pack(Cell(3.0, 0.15, curve=line), count=1, soc=0.0),
        Pack(Cell(3.0 / 0.7, 0.15 / 1.1, curve=line), count=1, soc=0.0),
    ]
    plant = Plant(PlantSpec(packs, [0.0, 0.0]))
    for _ in range(3000):
        plant.advance(10.0, current_only(0.2))
    assert plant.state.pack_a[0] / plant.state.pack_a[1] == pytest.approx(0.7, abs=1e-6)


def test_coulomb_drift() -> None:
    """0.1 A offset on 100 Ah is 2.4 % a day; the plant's own count of it is exact."""
    spec = one_pack(Cell(100.0, 0.020, curve=LINE), 0.5)
    run = run_physics([spec], 1.0, current_only(0.1), np.zeros(86_400))[0]
    assert run.state.soc[0, 0] - 0.5 == pytest.approx(0.024, abs=1e-10)


def test_white_noise_of_current_drifts_as_its_root() -> None:
    """White noise 0.1 A rms at 1 s for a day on 100 Ah: 0.0082 % rms; within three times that."""
    noise = np.random.default_rng(20).normal(0.0, 0.1, 86_400)
    spec = one_pack(Cell(100.0, 0.020, curve=LINE), 0.5)
    # Loads cannot be negative: the charger carries 1 A that the load takes back, less the noise.
    run = run_physics([spec], 1.0, current_only(1.0), 1.0 + noise)[0]
    assert abs(run.state.soc[0, 0] - 0.5) < 3.0 * 0.000082
    assert run.state.soc[0, 0] - 0.5 == pytest.approx(-noise.sum() / 360_000.0, abs=1e-9)


@pytest.mark.parametrize("soc", [0.55, 0.90, 0.99])
def test_a_false_reset_leaves_the_rest_as_error(soc: float) -> None:
    """At true SoC s a count set to 1 is off by 1 - s, and stays so while both count the same charge."""
    spec = one_pack(Cell(100.0, 0.020, curve=LINE), soc)
    run = run_physics([spec], 1.0, ChargerLimits(0.0, 0.0), np.full(3600, 10.0))[0]
    counted = 1.0 - 10.0 / 100.0
    assert counted - run.state.soc[0, 0] == pytest.approx(1.0 - soc, abs=1e-10)


def test_hysteresis_follows_the_charge() -> None:
    """Under constant current the share is 1 - e^(-rate·Δz): 10 mV, rate 40, after 0.05 of SoC."""
    cell = Cell(100.0, 0.020, curve=LINE, hysteresis_v=0.010, hysteresis_rate=40.0)
    plant = Plant(one_pack(cell, 0.5))
    for _ in range(900):
        plant.advance(1.0, current_only(20.0))
    assert plant.state.soc[0, 0] == pytest.approx(0.55, abs=1e-12)
    assert plant.state.terminal_v[0] == pytest.approx(53.1 + 0.4 + 0.008646647, abs=1e-7)
    for _ in range(900):
        plant.advance(1.0, ChargerLimits(0.0, 0.0), 20.0)
    # Back from +0.8647 towards -1 over 0.05: -1 + 1.8647·e^(-2) = -0.747645.
    assert plant.state.terminal_v[0] == pytest.approx(53.0 - 0.4 - 0.00747645, abs=1e-7)


def test_only_the_charging_part_is_counted_less() -> None:
    """0.9 of 20 Ah in and 18 Ah out meet again; 100 Ah."""
    plant = Plant(one_pack(Cell(100.0, 0.020, curve=LINE, coulombic_efficiency=0.9), 0.5))
    for _ in range(360):
        plant.advance(10.0, current_only(20.0))
    assert plant.state.soc[0, 0] == pytest.approx(0.68, abs=1e-10)
    for _ in range(360):
        plant.advance(10.0, ChargerLimits(0.0, 0.0), 18.0)
    assert plant.state.soc[0, 0] == pytest.approx(0.5, abs=1e-10)


def test_an_open_pack_loses_its_self_discharge() -> None:
    """3 % in 730.5 h, and 0.05 A of own consumption for as long on 100 Ah: 36.525 %."""
    cell = Cell(100.0, 0.020, curve=LINE, self_discharge_per_month=0.03)
    for own_a, lost in ((0.0, 0.03), (0.05, 0.03 + 0.36525)):
        pack = Pack(cell, count=1, soc=0.9, own_consumption_a=own_a)
        plant = Plant(PlantSpec([pack], [0.0]))
        for _ in range(1461):
            plant.advance(1800.0, ChargerLimits(0.0, 0.0), 0.0, [1])
        assert plant.state.soc[0, 0] == pytest.approx(0.9 - lost, abs=1e-9)


def test_cold_makes_the_same_current_cost_more() -> None:
    """Factor 1.45 on 20 mΩ and on the settled pair of 10 mΩ, 20 A: 0.6 V becomes 0.87 V."""
    cell = Cell(100.0, 0.020, (Pair(0.010, 30.0),), curve=LINE, factor_at_10_c=1.45)
    spec = one_pack(cell, 0.2)
    for temp_c, rise in ((25.0, 0.6), (10.0, 0.87)):
        plant = Plant(spec, spec.start(temp_c))
        for _ in range(900):
            plant.advance(1.0, current_only(20.0))
        assert plant.state.terminal_v[0] == pytest.approx(52.0 + 2.0 * 0.25 + rise, abs=1e-6)


def test_a_change_of_temperature_is_noticed_at_once() -> None:
    plant = Plant(one_pack(Cell(100.0, 0.020, curve=LINE), 0.5))
    plant.advance(0.0, current_only(20.0))
    plant.state.resistance_factor[:] = 1.5
    plant.advance(0.0, current_only(20.0))
    assert plant.state.terminal_v[0] == pytest.approx(53.0 + 0.6, abs=1e-12)
