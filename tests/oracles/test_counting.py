"""Counting against an integrator that is not ours, and against closed forms."""

from __future__ import annotations

from math import exp, log

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import cumulative_trapezoid

from ctrl.compiled import replay, replay_many
from ctrl.controller import start, step
from ctrl.resets import FIRST_TOUCH
from ctrl.settings import Settings
from ctrl.state import Sample

Floats = npt.NDArray[np.float64]

CAPACITY_AH = 100.0
CAPACITY_AS = 360_000.0


def counted(settings: Settings, soc: float, t: Floats, i: Floats) -> Floats:
    """What the reference counts at 54 V, where nothing but counting happens."""
    state = start(soc)
    counts = []
    for stamp, current in zip(t.tolist(), i.tolist(), strict=True):
        state, output = step(settings, state, Sample(stamp, 54.0, current))
        counts.append(output.soc)
    return np.array(counts)


def plain(**changes: float) -> Settings:
    return Settings(capacity_ah=CAPACITY_AH, soc_ceiling=1.0, return_soc=None).changed(**changes)


currents = st.lists(st.floats(-200.0, 200.0), min_size=2, max_size=60)
intervals = st.lists(st.floats(0.0, 30.0), min_size=60, max_size=60)


# scipy.integrate.cumulative_trapezoid, version 1.11 or later.


@given(currents, intervals)
def test_count_is_the_cumulative_trapezoid_of_the_current(
    current_a: list[float], interval_s: list[float]
) -> None:
    t = np.cumsum(interval_s[: len(current_a)])
    i = np.array(current_a)
    # At most 200 A for 60 times 30 s: 0.36 of the pack's charge, from the middle.
    expected = 0.5 + cumulative_trapezoid(i, t, initial=0.0) / (10 * CAPACITY_AS)
    settings = plain(capacity_ah=10 * CAPACITY_AH)
    assert np.abs(counted(settings, 0.5, t, i) - expected).max() <= 1e-12


@given(currents, intervals, st.sampled_from((0.5, 0.9, 0.97)))
def test_efficiency_is_that_of_the_part_of_the_line_that_charges(
    current_a: list[float], interval_s: list[float], efficiency: float
) -> None:
    """The crossings of zero are put in as samples; then both parts are trapezoids of their own."""
    t = np.cumsum(interval_s[: len(current_a)])
    i = np.array(current_a)
    sign_changes = np.flatnonzero(i[:-1] * i[1:] < 0)
    crossings = t[sign_changes] + (t[sign_changes + 1] - t[sign_changes]) * i[sign_changes] / (
        i[sign_changes] - i[sign_changes + 1]
    )
    fine_t = np.insert(t, sign_changes + 1, crossings)
    fine_i = np.insert(i, sign_changes + 1, 0.0)
    charge = cumulative_trapezoid(np.maximum(fine_i, 0.0), fine_t, initial=0.0)
    drain = cumulative_trapezoid(np.minimum(fine_i, 0.0), fine_t, initial=0.0)
    kept = np.delete(efficiency * charge + drain, sign_changes + 1 + np.arange(len(sign_changes)))
    expected = 0.5 + kept / (10 * CAPACITY_AS)
    settings = plain(capacity_ah=10 * CAPACITY_AH, charge_efficiency=efficiency)
    assert np.abs(counted(settings, 0.5, t, i) - expected).max() <= 1e-12


# Coulomb drift. Arithmetic; the classes of error are those of Movassagh et al., Energies 14(14) 4074,
# 2021.


def test_offset_of_a_tenth_of_an_ampere_drifts_by_two_point_four_per_cent_a_day() -> None:
    t = np.arange(86_401.0)
    said = replay(plain(), start(0.5), t, np.full(86_401, 54.0), np.full(86_401, 0.1))
    assert said.soc[-1] - 0.5 == pytest.approx(0.024, abs=1e-9)


def test_white_noise_of_a_tenth_of_an_ampere_walks_by_0_0082_per_cent_a_day() -> None:
    # One standard deviation; 64 packs, of which the spread is known to 1/sqrt(126), 8.9 %.
    packs, samples = 64, 86_401
    noise = np.random.default_rng(7).normal(0.0, 0.1, (packs, samples))
    t = np.tile(np.arange(float(samples)), (packs, 1))
    _, soc, _ = replay_many(plain(), start(0.5), t, np.full((packs, samples), 54.0), noise)
    walked = soc[:, -1] - 0.5
    assert np.std(walked) == pytest.approx(0.000082, rel=3 * 0.089)
    assert np.abs(walked).max() < 4 * 0.000082
    assert abs(np.mean(walked)) < 3 * 0.000082 / 8


def test_false_reset_leaves_its_error_until_the_next_true_one() -> None:
    """Arithmetic: a reset at a true count s reads 1 - s too much from then on."""
    t = np.arange(0.0, 4000.0, 10.0)
    i = np.where(t < 2000.0, 10.0, -10.0)
    v = np.where(t < 1000.0, 56.0, 54.0)
    said = replay(plain(), start(0.5), t, v, i, rule=FIRST_TOUCH)
    true = 0.5 + cumulative_trapezoid(i, t, initial=0.0) / CAPACITY_AS
    reset = int(np.flatnonzero(said.full_reset)[0])
    assert t[reset] == 20.0
    # 200 As of 360,000 As on top of a half.
    assert 1.0 - true[reset] == pytest.approx(0.4994444444, abs=1e-9)
    draining = t > 2010.0
    # In between the pack counts as full and climbs no further: its error shrinks by what goes in.
    error = said.soc[draining] - true[draining]
    assert error == pytest.approx(1.0 - true[draining].max() - 10.0 * 10.0 / CAPACITY_AS, abs=3e-4)
    assert np.ptp(error) <= 1e-12


# Constant current, then constant voltage, in closed form: open-circuit voltage 52 + 2 s, 20 mohm,
# 100 Ah, from s = 0.2 with 20 A up to 54 V, then down to 5 A. Then tau = Q R / b = 3600 s, the
# current is constant for 10800 s up to s = 0.8, and falls to 5 A in tau ln 4 = 4990.6597 s, where
# s = 0.95.

RESISTANCE_OHM, SLOPE_V = 0.020, 2.0
TAU_S = CAPACITY_AS * RESISTANCE_OHM / SLOPE_V


def cccv(seconds: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Time, voltage, current and state of charge once a second."""
    t = np.arange(float(seconds + 1))
    later = np.maximum(t - 10_800.0, 0.0)
    i = 20.0 * np.exp(-later / TAU_S)
    s = 0.2 + 20.0 * np.minimum(t, 10_800.0) / CAPACITY_AS + 0.2 * (1.0 - np.exp(-later / TAU_S))
    return t, 52.0 + SLOPE_V * s + RESISTANCE_OHM * i, i, s


def charger(**changes: object) -> Settings:
    return Settings(
        capacity_ah=CAPACITY_AH,
        absorption_v=54.0,
        entry_v=53.9505,
        full_v=53.95,
        float_v=53.0,
        return_v=52.5,
        hold_s=600.0,
        taper_a=5.0,
        on_unconfirmed="wait",
        wait_limit_s=1e5,
        return_soc=None,
    ).changed(**changes)


def test_closed_form_is_that_of_the_text() -> None:
    assert pytest.approx(3600.0, abs=1e-9) == TAU_S
    assert TAU_S * log(20.0 / 5.0) == pytest.approx(4990.6597, abs=1e-4)
    t, v, i, s = cccv(20_000)
    assert s[10_800] == pytest.approx(0.8, abs=1e-12)
    assert v[10_800:] == pytest.approx(54.0, abs=1e-12)
    end = 10_800.0 + 4990.6597
    assert np.interp(end, t, i) == pytest.approx(5.0, abs=1e-6)
    assert np.interp(end, t, s) == pytest.approx(0.95, abs=1e-6)


def test_count_follows_the_closed_form_through_both_phases() -> None:
    t, v, i, s = cccv(15_790)
    said = replay(charger(), start(0.2), t, v, i)
    assert np.abs(said.soc - s).max() <= 1e-6
    assert said.soc[10_800] == pytest.approx(0.8, abs=1e-6)
    # The last whole second before the current is down to 5 A.
    assert said.soc[15_790] == pytest.approx(0.95 - 0.2 * (exp(0.6597 / 3600.0) - 1) / 4, abs=1e-6)


def test_hold_and_confirmation_come_at_the_seconds_of_the_closed_form() -> None:
    # 53.9505 V is reached where 52 + 2 s + 0.4 V is that: s = 0.77525, at 10354.5 s. So the first
    # sample is at 10355 s, the hold starts at 10358 s and runs out at 10958 s; the current is within
    # 5 A from 15790.6597 s on.
    said = replay(charger(), start(0.2), *cccv(20_000)[:3])
    changes = np.flatnonzero(np.diff(said.stage)) + 1
    assert changes.tolist() == [10_358, 15_791]
    assert said.stage[changes].tolist() == [1, 2]
    assert np.flatnonzero(said.happened & 32).tolist() == [10_958]
    assert np.flatnonzero(said.full_reset).tolist() == [15_791]
    assert said.soc[15_791] == 1.0


def test_wait_that_is_too_short_denies_at_the_second_of_its_limit() -> None:
    said = replay(charger(wait_limit_s=1000.0), start(0.2), *cccv(20_000)[:3])
    changes = np.flatnonzero(np.diff(said.stage)) + 1
    assert changes.tolist() == [10_358, 11_958]
    assert not said.full_reset.any()
