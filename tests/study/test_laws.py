"""The laws by which banks differ: their shape, their ends, and parameters that cannot be."""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

import numpy as np
import pytest
from scipy import stats

from harness.errors import InputError
from harness.study.laws import Choice, Law, LogNormal, Normal, Uniform, Whole

DRAWS = 4000


def drawn(law: Law) -> list[Any]:
    generator = np.random.Generator(np.random.PCG64(5))
    return [law.draw(generator) for _ in range(DRAWS)]


@pytest.mark.parametrize(
    ("law", "reference"),
    [
        (Normal(mean=1.0, deviation=0.2), stats.truncnorm(-3, 3, loc=1.0, scale=0.2)),
        (
            Normal(mean=0.0, deviation=2.0, low=-1.0, high=4.0),
            stats.truncnorm(-0.5, 2.0, loc=0.0, scale=2.0),
        ),
        (Uniform(low=-2.0, high=3.0), stats.uniform(-2.0, 5.0)),
    ],
)
def test_the_draws_follow_the_law(law: Law, reference: Any) -> None:
    values = drawn(law)
    assert stats.kstest(values, reference.cdf).pvalue > 0.01
    low, high = law.ends()
    assert low <= min(values) < max(values) <= high


def test_the_logarithm_is_normal() -> None:
    law = LogNormal(median=0.5, factor=1.5)
    values = np.log(np.array(drawn(law)) / 0.5) / np.log(1.5)
    assert stats.kstest(values, stats.truncnorm(-3, 3).cdf).pvalue > 0.01
    assert law.ends() == pytest.approx((0.5 / 3.375, 0.5 * 3.375))


def test_whole_numbers_have_both_ends() -> None:
    counts = Counter(drawn(Whole(low=1, high=5)))
    assert sorted(counts) == [1, 2, 3, 4, 5]
    assert stats.chisquare(list(counts.values())).pvalue > 0.01


def test_choices_come_by_their_weights() -> None:
    counts = Counter(drawn(Choice(values=("a", "b", "c"), weights=(1, 0, 3))))
    assert sorted(counts) == ["a", "c"]
    assert counts["c"] / DRAWS == pytest.approx(0.75, abs=0.03)
    assert Counter(drawn(Choice(values=(35, 50))))[35] / DRAWS == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Normal(deviation=0.0), "deviation: deviation is 0.0; a number above 0"),
        (lambda: Normal(deviation=1.0, low=3.0, high=2.0), "high: low is 3 and high is 2"),
        (
            lambda: Normal(deviation=1.0, low=5.0, high=9.0),
            "low: from 5 to 9 nothing is left of a normal law around 0 with deviation 1",
        ),
        (
            lambda: Normal(mean=9.0, deviation=1.0, low=0.0, high=4.0),
            "high: from 0 to 4 nothing is left",
        ),
        (lambda: Normal(mean=float("nan"), deviation=1.0), "mean: mean is nan"),
        (lambda: Uniform(low=1.0, high=1.0), "high: low is 1 and high is 1; more than low"),
        (lambda: LogNormal(median=-1.0, factor=2.0), "median: median is -1.0"),
        (lambda: LogNormal(median=1.0, factor=1.0), "factor: factor is 1.0; a number above 1"),
        (lambda: Whole(low=2, high=1), "high: low is 2 and high is 1"),
        (lambda: Choice(values=()), "values: there is nothing to choose from"),
        (lambda: Choice(values=(1, 2), weights=(1,)), "weights: 1 weights for 2 values"),
        (lambda: Choice(values=(1, 2), weights=(0, 0)), "weights: all weights are 0"),
        (lambda: Choice(values=(1, 2), weights=(-1, 2)), "weights: weights is -1"),
    ],
)
def test_impossible_parameters_are_refused(make: Any, message: str) -> None:
    with pytest.raises(InputError, match=re.escape(message)):
        make()
