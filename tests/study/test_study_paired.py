"""Arms in pairs: the test, the correction and the sizes against scipy and worked examples."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from harness.run import Floats
from harness.study import paired
from harness.study.bootstrap import Resamples
from harness.study.measures import measure_named
from harness.study.paired import (
    Difference,
    Pair,
    Sides,
    better_share,
    differences,
    holm,
    pairs_of,
    standardised,
    swap_test,
)
from harness.study.pooled import Shares, shares_of
from tests.study.drawn_rows import arms_of, drawn, facts_of, results_of

MEAN = measure_named("longest_without")
FIRST_AND_SECOND = np.array([0]), np.array([1])
SHARE = measure_named("false_share")
# Heights of fifteen pairs of maize, crossed less self-fertilised, in eighths of an inch: the example
# of the page of `scipy.stats.wilcoxon`.
MAIZE = np.array([6, 8, 14, 16, 23, 24, 28, 29, 41, -48, 49, 56, 60, -67, 75], float)


def means(one: Floats, other: Floats) -> Sides:
    """Two arms in a measure that is a mean over banks."""
    ones = np.ones((len(one), 1))
    return Sides(MEAN, np.stack([one, other], 1), np.hstack([ones, ones]), *FIRST_AND_SECOND)


def test_the_exact_test_of_the_maize_is_that_of_every_exchange(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(paired, "MOST_EXACT", 15)
    p, exact = swap_test(means(MAIZE + 100.0, np.full(15, 100.0)), seed=1)
    assert exact.tolist() == [True]
    # Of all 32,768 sums with other signs, 863 are as large as 314 or larger, and as many as small.
    assert p[0] == pytest.approx(2 * 863 / 32_768, abs=1e-15)
    theirs = stats.permutation_test(
        (MAIZE, np.zeros(15)), lambda x, y, axis: (x - y).mean(axis=axis),
        permutation_type="samples", n_resamples=np.inf, vectorized=True, batch=4_096,
    )  # fmt: skip
    assert p[0] == pytest.approx(theirs.pvalue, abs=1e-15)
    # The test of ranks asks nearly the same of them.
    assert stats.wilcoxon(MAIZE).pvalue == pytest.approx(0.041259765625)
    assert p[0] == pytest.approx(stats.wilcoxon(MAIZE).pvalue, abs=0.02)


def test_random_exchanges_come_near_the_exact_test() -> None:
    p, exact = swap_test(means(MAIZE + 100.0, np.full(15, 100.0)), seed=1)
    assert exact.tolist() == [False]
    # Four standard errors of 9,999 exchanges.
    assert p[0] == pytest.approx(2 * 863 / 32_768, abs=4 * np.sqrt(0.0527 * 0.9473 / 9_999))
    again, _ = swap_test(means(MAIZE + 100.0, np.full(15, 100.0)), seed=1)
    assert np.array_equal(p, again)


def test_on_ranks_it_is_the_test_of_wilcoxon() -> None:
    rng = np.random.default_rng(2)
    values = rng.normal(0.4, 1.0, 12)
    ranks = np.sign(values) * stats.rankdata(np.abs(values))
    p, exact = swap_test(means(ranks + 50.0, np.full(12, 50.0)), seed=1)
    assert exact.all()
    assert p[0] == pytest.approx(stats.wilcoxon(values, method="exact").pvalue, abs=1e-14)


def test_where_what_is_divided_by_differs_both_go_over_together() -> None:
    rng = np.random.default_rng(3)
    lower, below = (rng.integers(1, 20, 10).astype(float) for _ in range(2))
    upper, above = (rng.integers(0, 6, 10).astype(float) for _ in range(2))
    sides = Sides(
        SHARE, np.stack([upper, above], 1), np.stack([lower, below], 1), *FIRST_AND_SECOND
    )
    p, exact = swap_test(sides, seed=1)
    tops, bottoms = np.concatenate([upper, above]), np.concatenate([lower, below])

    def apart(x: Floats, y: Floats, axis: int = -1) -> Floats:
        # scipy exchanges places; what is there in them is looked up.
        one, other = x.astype(int), y.astype(int)
        ratio = tops[one].sum(axis=axis) / bottoms[one].sum(axis=axis)
        value: Floats = ratio - tops[other].sum(axis=axis) / bottoms[other].sum(axis=axis)
        return value

    places = np.arange(20.0)
    theirs = stats.permutation_test(
        (places[:10], places[10:]), apart, permutation_type="samples", n_resamples=np.inf,
        vectorized=True,
    )  # fmt: skip
    assert exact.all()
    assert p[0] == pytest.approx(theirs.pvalue, abs=1e-14)
    assert sides.difference()[0] == pytest.approx(theirs.statistic, rel=1e-14)


def test_banks_in_which_nothing_differs_do_not_make_a_test_inexact() -> None:
    more = np.concatenate([MAIZE[:9], np.zeros(500)])
    p, exact = swap_test(means(more + 100.0, np.full(509, 100.0)), seed=1)
    few, _ = swap_test(means(MAIZE[:9] + 100.0, np.full(9, 100.0)), seed=1)
    assert exact.all()
    # Nine of nine are larger: of 512 ways two are as far apart.
    assert p[0] == few[0] == 2 / 512


@pytest.mark.parametrize("banks", [1, 40])
def test_equal_arms_cannot_be_told_apart(banks: int) -> None:
    values = np.arange(1.0, banks + 1.0)
    p, _ = swap_test(means(values, values), seed=1)
    assert p.tolist() == [1.0]
    assert np.isnan(standardised(values - values))
    assert better_share(values, values, lower=True) == 0.5


def test_p_is_even_where_arms_are_equally_good() -> None:
    rng = np.random.default_rng(8)
    one, other = (rng.lognormal(0.0, 1.0, (30, 300)) for _ in range(2))
    columns = np.hstack([one, other])
    sides = Sides(MEAN, columns, np.ones((30, 600)), np.arange(300), np.arange(300, 600))
    p, _ = swap_test(sides, seed=4, flips=999)
    assert stats.kstest(p, "uniform").pvalue > 0.01
    assert p.min() >= 1 / 1_000


def test_holm_on_a_worked_example() -> None:
    # By hand: 4 x 0.005,
    # 3 x 0.01, 2 x 0.03, and 0.04 raised to what stands before it.
    assert holm(np.array([0.01, 0.04, 0.03, 0.005])) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm(np.array([0.5, 0.6])).tolist() == [1.0, 1.0]
    assert holm(np.array([])).tolist() == []
    unknown = holm(np.array([0.01, np.nan, 0.02]))
    assert unknown[[0, 2]] == pytest.approx([0.02, 0.02])
    assert np.isnan(unknown[1])


def test_sizes_by_hand() -> None:
    # Differences 1, 2, 3: mean 2, standard deviation 1. What is not known is left out.
    assert standardised(np.array([1.0, 2.0, np.nan, 3.0])) == pytest.approx(2.0)
    assert np.isnan(standardised(np.array([4.0])))
    assert np.isnan(standardised(np.array([0.1, 0.1, 0.1])))
    one, other = np.array([1.0, 5.0, 2.0, np.nan]), np.array([2.0, 4.0, 2.0, 1.0])
    assert better_share(one, other, lower=True) == 0.5
    assert better_share(np.array([1.0, 1.0]), np.array([2.0, 1.0]), lower=True) == 0.75
    assert better_share(np.array([1.0, 1.0]), np.array([2.0, 1.0]), lower=False) == 0.25
    assert np.isnan(better_share(np.array([np.nan]), np.array([1.0]), lower=True))
    # As scipy's t statistic over the root of the number of pairs.
    t = stats.ttest_rel(MAIZE, np.zeros(15)).statistic
    assert standardised(MAIZE) == pytest.approx(t / np.sqrt(15), rel=1e-12)


def test_pairs_differ_in_one_thing() -> None:
    arms = arms_of(("taper", "hold_only"), ("every", "any"), (600.0, 900.0))
    pairs = pairs_of(arms)
    assert [each.varied for each in pairs] == ["rule"] * 4 + ["policy"] * 4 + ["hold_s"] * 4
    for each in pairs:
        one, other = arms[each.first], arms[each.second]
        assert (one.settings != other.settings) is (each.varied == "hold_s")
        assert (one.rule != other.rule) is (each.varied == "rule")
        assert (one.policy != other.policy) is (each.varied == "policy")
    assert len(set(pairs)) == 12


def shares(tmp_path: Path, banks: int, stopped: list[tuple[int, int]]) -> Shares:
    """Missed days of rows in which some banks stopped in some arms."""
    arms = arms_of(policies=("every",))
    rows = drawn(arms, banks)
    for bank, arm in stopped:
        rows["stopped"][bank, arm] = 1
        rows["missed_days"][bank, arm] = 1e9
    return shares_of(
        results_of(tmp_path, rows, facts_of(arms, banks)), measure_named("missed_fulls")
    )


def compared(of: Shares, *pairs: Pair) -> tuple[Difference, ...]:
    return differences(of, pairs, Resamples(7, len(of.upper), 2_000), flips=999)


def test_a_bank_that_stopped_in_one_of_two_arms_is_left_out_of_both(tmp_path: Path) -> None:
    of = shares(tmp_path, 40, [(3, 0), (5, 1), (6, 1)])
    first, second = compared(of, Pair(0, 1, "rule"), Pair(2, 3, "rule"))
    assert (first.banks, second.banks) == (37, 40)
    kept = [k for k in range(40) if k not in (3, 5, 6)]
    by_hand = [of.upper[kept, arm].sum() / of.lower[kept, arm].sum() for arm in (0, 1)]
    assert first.value == pytest.approx(by_hand[0] - by_hand[1], rel=1e-12)


def test_an_interval_of_a_difference_allows_for_what_arms_have_in_common(tmp_path: Path) -> None:
    of = shares(tmp_path, 200, [])
    heat = measure_named("heat")
    rng = np.random.default_rng(4)
    bank = rng.gamma(2.0, 10.0, (200, 1))
    both = Shares(
        heat,
        bank + np.array([0.0, 1.0]) + rng.normal(0, 0.1, (200, 2)),
        np.full((200, 2), 365.0),
        of.ran[:, :2],
    )
    (found,) = compared(both, Pair(0, 1, "rule"))
    # Apart, each arm is uncertain by about 2 kWh; the difference by about 0.02.
    assert found.value == pytest.approx(-1.0, abs=0.05)
    assert 0.01 < found.high - found.low < 0.1
    apart = both.by_bank()[:, 0] - both.by_bank()[:, 1]
    theirs = stats.bootstrap((apart,), np.mean, n_resamples=2_000, rng=np.random.default_rng(1))
    assert found.low == pytest.approx(
        theirs.confidence_interval.low, abs=0.2 * theirs.standard_error
    )
    assert found.high == pytest.approx(
        theirs.confidence_interval.high, abs=0.2 * theirs.standard_error
    )
    assert (found.p, found.exact, found.better_share) == (0.001, False, 1.0)


def test_many_pairs_are_compared_as_a_few_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    of = shares(tmp_path, 40, [(3, 0)])
    pairs = pairs_of(arms_of(policies=("every",)))
    whole = differences(of, pairs, Resamples(7, 40, 500), flips=200)
    monkeypatch.setattr(paired, "_PAIRS_AT_ONCE", 3)
    for one, other in zip(
        whole, differences(of, pairs, Resamples(7, 40, 500), flips=200), strict=True
    ):
        assert (one.pair, one.p, one.p_holm) == (other.pair, other.p, other.p_holm)
        assert (one.low, one.high) == pytest.approx((other.low, other.high), rel=1e-12)
