"""Wiring and meters apart, on made readings of which both are known."""

from __future__ import annotations

import numpy as np
import pytest

from harness.explain.wiring import Apart, between

# IEC 60228, class 5: 35 mm2 copper has at most 0.554 ohm a km at 20 degrees; 6 m there and back.
CABLE_OHM = 0.554e-3 * 6.0


def day(
    seed: int,
    *,
    ohm: float = CABLE_OHM,
    offset_v: float = 0.014,
    lag_s: float = 0.0,
    noise_v: float = 0.003,
    swing_a: float = 40.0,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Readings of a day at 1 Hz: the charger's clock is `lag_s` behind."""
    random = np.random.default_rng(seed)
    t = np.arange(20_000.0)
    steps = np.repeat(random.uniform(0.0, 1.0, 200), 100)
    i = 10.0 + swing_a * steps
    bus_v = 53.0 + 2.0 * np.sin(t / 3000.0) + 0.02 * (i - 10.0)
    v = bus_v + random.normal(0.0, noise_v, len(t))
    true_v = bus_v + ohm * i + offset_v
    charger_v = np.interp(t - lag_s, t, true_v) + random.normal(0.0, noise_v, len(t))
    return t, charger_v, v, i


@pytest.mark.parametrize("ohm", [CABLE_OHM, 0.022, 0.0005])
@pytest.mark.parametrize("offset_v", [0.014, -0.05, 0.0])
def test_both_are_found_within_their_intervals(ohm: float, offset_v: float) -> None:
    found = between(*day(1, ohm=ohm, offset_v=offset_v))
    assert found.apart is Apart.YES
    assert found.line is not None
    assert found.wiring_ohm == pytest.approx(ohm, abs=1.5 * found.line.slope_error)
    assert found.mismatch_v == pytest.approx(offset_v, abs=1.5 * found.line.intercept_error)
    assert found.line.slope_error < 2e-4
    assert found.lag_s == 0.0


@pytest.mark.parametrize("lag_s", [7.0, -12.0, 40.0])
def test_clocks_that_differ_are_noticed(lag_s: float) -> None:
    found = between(*day(2, lag_s=lag_s))
    assert found.lag_s == pytest.approx(lag_s, abs=1.5)
    assert found.wiring_ohm == pytest.approx(CABLE_OHM, rel=0.1)


def test_readings_that_are_wrong_do_no_harm() -> None:
    t, charger_v, v, i = day(3, ohm=0.022)
    charger_v[::37] = 0.0
    v[100:900] = np.nan
    charger_v[4000:4600] += 3.0
    found = between(t, charger_v, v, i)
    assert found.wiring_ohm == pytest.approx(0.022, rel=0.05)
    assert found.mismatch_v == pytest.approx(0.014, abs=0.005)


def test_it_says_when_they_cannot_be_told_apart() -> None:
    still = between(*day(4, swing_a=0.5))
    assert still.apart is Apart.SPAN
    assert np.isnan(still.wiring_ohm)
    assert still.typical_v == pytest.approx(0.014 + CABLE_OHM * 10.25, abs=0.002)
    wild = between(*day(5, noise_v=3.0))
    assert wild.apart is Apart.SCATTER
    t, charger_v, v, i = day(6)
    assert between(t, np.full_like(t, np.nan), v, i).apart is Apart.FEW
    assert between(t[:10], charger_v[:10], v[:10], i[:10]).apart is Apart.FEW
