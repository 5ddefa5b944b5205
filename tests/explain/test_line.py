"""The line through readings, against a library, with outliers and with errors that go together."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from harness.explain.line import _theil_sen, robust_line, student


def points(seed: int, count: int = 400) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    x = random.uniform(-20.0, 60.0, count)
    return x, 0.014 + 0.022 * x + random.normal(0.0, 0.005, count)


@pytest.mark.parametrize("seed", range(5))
def test_without_outliers_it_is_least_squares(seed: int) -> None:
    x, y = points(seed)
    line = robust_line(x, y)
    assert line is not None
    inside = np.abs(y - line.intercept - line.slope * x) < 4.0 * line.scatter
    told = stats.linregress(x[inside], y[inside])
    if line.outliers == 0:
        assert line.slope == pytest.approx(told.slope, rel=1e-9)
        assert line.intercept == pytest.approx(told.intercept, rel=1e-9)
        assert line.slope_error >= 0.999 * stats.t.ppf(0.975, len(x) - 2) * told.stderr
    assert line.slope == pytest.approx(0.022, abs=2.0 * line.slope_error)


@pytest.mark.parametrize("seed", range(3))
def test_the_bulk_is_found_as_by_the_library(seed: int) -> None:
    x, y = points(seed, 120)
    y[:30] += 5.0
    told = stats.theilslopes(y, x)
    assert _theil_sen(x, y) == pytest.approx(told.slope, rel=1e-12)
    line = robust_line(x, y)
    assert line is not None
    assert line.outliers == 30
    assert line.slope == pytest.approx(0.022, abs=2.0 * line.slope_error)
    assert line.intercept == pytest.approx(0.014, abs=2.0 * line.intercept_error)


def test_the_interval_holds_what_it_should() -> None:
    held = 0
    for seed in range(200):
        x, y = points(1000 + seed, 60)
        line = robust_line(x, y)
        assert line is not None
        held += abs(line.slope - 0.022) <= line.slope_error
    assert 180 <= held <= 200


def test_errors_that_go_together_widen_the_interval() -> None:
    random = np.random.default_rng(5)
    x = random.uniform(0.0, 50.0, 500)
    noise = random.normal(0.0, 0.004, 500)
    drifting = np.convolve(noise, np.ones(20) / 20.0, mode="same") * np.sqrt(20.0)
    alone = robust_line(x, 0.02 * x + noise)
    together = robust_line(np.sort(x), 0.02 * np.sort(x) + drifting)
    assert alone is not None
    assert together is not None
    assert together.slope_error > 2.0 * alone.slope_error


def test_too_little_is_no_line() -> None:
    assert robust_line(np.array([1.0, 2.0]), np.array([1.0, 2.0])) is None
    assert robust_line(np.full(20, 3.0), np.arange(20.0)) is None


@pytest.mark.parametrize("freedom", [1, 2, 3, 5, 10, 30, 100, 10_000])
def test_student_against_the_library(freedom: int) -> None:
    assert student(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=2e-3)
