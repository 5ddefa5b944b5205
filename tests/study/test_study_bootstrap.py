"""Intervals by the bootstrap against scipy's, and against what is known of the population."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from harness.run import Floats
from harness.study import bootstrap
from harness.study.bootstrap import Intervals, Resamples, bias_corrected, percentile
from harness.study.measures import measure_named
from harness.study.pooled import at_most_differ, left_out, same_in_every_bank

HEAT = measure_named("heat")
ERROR = measure_named("soc_error")


def skewed(banks: int, seed: int = 5) -> tuple[Floats, Floats]:
    """What banks add above and below the line: a skewed law, and the two go together."""
    rng = np.random.default_rng(seed)
    lower = rng.gamma(3.0, 2.0, (banks, 1))
    return lower * rng.lognormal(0.0, 0.6, (banks, 1)), lower


def intervals(
    upper: Floats, lower: Floats, how_many: int, name: str = "heat"
) -> tuple[Intervals, Intervals]:
    """By percentiles, and BCa."""
    measure = measure_named(name)
    n = upper.shape[1]
    sums = Resamples(11, len(upper), how_many).sums(np.hstack([upper, lower]))
    resampled = measure.of(sums[:, :n], sums[:, n:])
    value = measure.of(upper.sum(axis=0), lower.sum(axis=0))
    corrected = bias_corrected(value, resampled, left_out(measure, upper, lower))
    return percentile(resampled), corrected


@pytest.mark.parametrize(("name", "root"), [("heat", False), ("soc_error", True)])
def test_ends_are_those_of_scipy_within_the_error_of_chance(name: str, root: bool) -> None:
    upper, lower = skewed(60)
    measure = measure_named(name)

    def ratio(above: Floats, below: Floats, axis: int = -1) -> Floats:
        value: Floats = measure.per * above.sum(axis=axis) / below.sum(axis=axis)
        return np.sqrt(value) if root else value

    value = measure.of(upper.sum(axis=0), lower.sum(axis=0))
    assert value[0] == pytest.approx(ratio(upper[:, 0], lower[:, 0]), rel=1e-14)
    ours = dict(zip(("percentile", "BCa"), intervals(upper, lower, 40_000, name), strict=True))
    found = {}
    for method, own in ours.items():
        theirs = stats.bootstrap(
            (upper[:, 0], lower[:, 0]), ratio, paired=True, vectorized=True, method=method,
            n_resamples=40_000, batch=5_000, rng=np.random.default_rng(3),
        )  # fmt: skip
        ends = theirs.confidence_interval
        # An end moves by about 1 % of the standard error from one set of 40,000 draws to the next.
        near = 0.04 * theirs.standard_error
        assert own.low[0] == pytest.approx(ends.low, abs=near)
        assert own.high[0] == pytest.approx(ends.high, abs=near)
        found[method] = (ends.low, ends.high, near)
    # The two methods are farther apart than that, so that one cannot pass for the other.
    assert abs(found["BCa"][1] - found["percentile"][1]) > 2 * found["BCa"][2]


def test_ends_are_those_of_the_formula_written_out() -> None:
    upper, lower = skewed(25)
    draws = Resamples(11, 25, 2_000)
    counts = draws.sums(np.eye(25))
    value = HEAT.of(upper.sum(axis=0), lower.sum(axis=0))
    resampled = HEAT.of(counts @ upper, counts @ lower)
    own = bias_corrected(value, resampled, left_out(HEAT, upper, lower))
    share = (resampled[:, 0] < value[0]).mean() / 2 + (resampled[:, 0] <= value[0]).mean() / 2
    z0 = stats.norm.ppf(share)
    without = np.array(
        [365.0 * np.delete(upper, k).sum() / np.delete(lower, k).sum() for k in range(25)]
    )
    apart = 24.0 * (without.mean() - without)
    speed = (apart**3).sum() / (6.0 * (apart**2).sum() ** 1.5)
    for end, share in ((own.low[0], 0.025), (own.high[0], 0.975)):
        z = z0 + stats.norm.ppf(share)
        at = stats.norm.cdf(z0 + z / (1.0 - speed * z))
        assert end == pytest.approx(np.quantile(resampled[:, 0], at), rel=1e-12)


@pytest.mark.parametrize("method", [0, 1])
def test_intervals_hold_the_truth_about_as_often_as_they_say(method: int) -> None:
    inside, studies, banks = 0, 400, 80
    rng = np.random.default_rng(17)
    # Events at a rate that differs from bank to bank by a gamma law of mean 2, over times of mean 3.
    for seed in range(studies):
        lower = rng.gamma(6.0, 0.5, (banks, 1))
        upper = rng.poisson(lower * rng.gamma(2.0, 1.0, (banks, 1))).astype(float)
        sums = Resamples(seed, banks, 800).sums(np.hstack([upper, lower]))
        resampled = HEAT.of(sums[:, :1], sums[:, 1:])
        value = HEAT.of(upper.sum(axis=0), lower.sum(axis=0))
        ends = (
            percentile(resampled),
            bias_corrected(value, resampled, left_out(HEAT, upper, lower)),
        )[method]
        inside += bool(ends.low[0] <= 365.0 * 2.0 <= ends.high[0])
    # 0.95, less what so few banks cost, give or take three standard errors of 400 studies.
    assert 0.90 <= inside / studies <= 0.985


def test_each_resample_draws_as_many_banks_as_there_are_and_the_same_ones_every_time() -> None:
    draws = Resamples(1, 30, 500)
    counts = draws.sums(np.eye(30))
    assert (counts.sum(axis=1) == 30).all()
    assert counts.var() == pytest.approx(29 / 30, rel=0.1)
    assert np.array_equal(counts, draws.sums(np.eye(30)))
    assert np.array_equal(counts, Resamples(1, 30, 500).sums(np.eye(30)))
    assert not np.array_equal(counts, Resamples(2, 30, 500).sums(np.eye(30)))


def test_what_is_not_kept_is_drawn_once_more_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    columns = np.arange(60.0).reshape(30, 2)
    kept = Resamples(1, 30, 500).sums(columns)
    monkeypatch.setattr(bootstrap, "MOST_KEPT", 0)
    draws = Resamples(1, 30, 500)
    assert np.array_equal(kept, draws.sums(columns))
    assert np.array_equal(kept, draws.sums(columns))


def test_memory_is_bounded_by_pieces_that_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = Resamples(1, 30, 500).sums(np.eye(30))
    monkeypatch.setattr(bootstrap, "MOST_AT_ONCE", 1_000)
    assert np.array_equal(whole, Resamples(1, 30, 500).sums(np.eye(30)))


def test_no_interval_where_the_value_is_seldom_defined() -> None:
    # One bank of six has anything below the line: a third of the resamples lack it.
    upper = np.array([[3.0, 3.0, 1.0, 2.0, 5.0, 4.0], [2.0, 0.0, 0.0, 0.0, 0.0, 0.0]]).T
    lower = np.array([[1.0, 2.0, 1.0, 1.0, 2.0, 1.0], [4.0, 0.0, 0.0, 0.0, 0.0, 0.0]]).T
    for ends in intervals(upper, lower, 2_000):
        assert np.isfinite([ends.low[0], ends.high[0]]).all()
        assert np.isnan([ends.low[1], ends.high[1]]).all()


def test_the_ends_meet_where_all_banks_say_the_same() -> None:
    lower = np.array([[1.0], [2.0], [4.0]])
    upper = 0.3 * lower
    assert same_in_every_bank(upper, lower).tolist() == [True]
    assert same_in_every_bank(upper + np.array([[0.0], [0.1], [0.0]]), lower).tolist() == [False]
    for ends in intervals(upper, lower, 200):
        assert ends.low[0] == pytest.approx(365.0 * 0.3)
        assert ends.high[0] == pytest.approx(365.0 * 0.3)


def test_a_bank_left_out_that_was_all_there_is_leaves_nothing_defined() -> None:
    upper, lower = np.array([[0.1], [0.0], [0.0]]), np.array([[0.3], [0.0], [0.0]])
    assert np.isnan(left_out(HEAT, upper, lower)[0, 0])
    assert left_out(HEAT, upper, lower)[1:, 0] == pytest.approx([365.0 / 3.0] * 2)


def test_what_was_never_seen_is_bounded_as_a_binomial_law_says() -> None:
    # The upper end of Clopper and Pearson's one-sided interval for none of n.
    for banks in (1, 10, 1_000):
        exact = stats.binomtest(0, banks, alternative="less").proportion_ci(0.95, method="exact")
        assert at_most_differ(banks, 0.95) == pytest.approx(exact.high, rel=1e-12)
