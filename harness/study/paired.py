"""Two arms compared, bank by bank: how much they differ, how sure that is, and in how many banks.

Every bank ran in both arms, with the same packs, weather, loads and meters. If the arms were equally
good, their names could be exchanged in any bank without anyone noticing. So the difference is set
beside the differences that come of exchanging the arms in banks at random: the sign-flip test of
paired differences, which asks nothing of the law that they follow. Where what is divided by differs
between the arms (as the number of full resets does), numerator and denominator go over together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
from attrs import evolve, frozen

from harness.run import Floats
from harness.study.bootstrap import LEVEL, Intervals, Resamples, bias_corrected
from harness.study.measures import Kind, Measure
from harness.study.pooled import Shares, left_out, same_in_every_bank
from harness.study.results import ArmName, Flags, Whole

FLIPS = 9_999
# Where no more banks than this differ, every way to exchange them is tried: 8,192 at most.
MOST_EXACT = 13
# Values of a setting that are compared in pairs.
MOST_VALUES = 6
_PAIRS_AT_ONCE, _FLIPS_AT_ONCE = 512, 400_000
# Apart from the draws of the bootstrap, which are of the same seed.
_STREAM = 2
# What differs by less than this share of itself differs by the order of additions alone.
_NOISE = 1e-11


@frozen
class Pair:
    """Two arms that differ in one thing.

    Attributes:
        first: number of one arm.
        second: number of the other.
        varied: what they differ in: `rule`, `policy`, or the name of a setting.
    """

    first: int
    second: int
    varied: str


@frozen
class Difference:
    """What came of comparing two arms in one measure; not a number for what is not defined.

    Attributes:
        pair: the arms.
        value: the first's value less the second's, over the banks that ran in both.
        low: lower end of its interval.
        high: upper end.
        p: how often exchanged arms differ by as much, or more.
        p_holm: the same after Holm's correction, within the measure.
        exact: whether every way to exchange them was tried.
        d_z: mean of the differences of banks over their standard deviation.
        better_share: share of banks in which the first is better; ties count half.
        banks: how many ran in both.
        compared: in how many of these the measure is defined in both.
        differ: in how many of these the two are not the same.
    """

    pair: Pair
    value: float
    low: float
    high: float
    p: float
    p_holm: float
    exact: bool
    d_z: float
    better_share: float
    banks: int
    compared: int
    differ: int


def pairs_of(arms: Sequence[ArmName]) -> tuple[Pair, ...]:
    """Every two arms that differ in one thing: first in the rule, then the policy, then each setting.

    A setting with more than `MOST_VALUES` values is for a curve, not for comparisons in pairs.
    """
    found: dict[str, list[Pair]] = {"rule": [], "policy": []}
    values: dict[str, set[str]] = {}
    for arm in arms:
        for name, value in arm.parts.items():
            values.setdefault(name, set()).add(value)
    found |= {name: [] for name in values if name not in found and len(values[name]) <= MOST_VALUES}
    for first, second in combinations(range(len(arms)), 2):
        one, other = arms[first].parts, arms[second].parts
        varied = [name for name in one if one[name] != other.get(name)]
        if len(varied) == 1 and varied[0] in found and one.keys() == other.keys():
            found[varied[0]].append(Pair(first, second, varied[0]))
    return tuple(pair for pairs in found.values() for pair in pairs)


def differences(
    shares: Shares,
    pairs: Sequence[Pair],
    resamples: Resamples,
    *,
    flips: int = FLIPS,
    level: float = LEVEL,
) -> tuple[Difference, ...]:
    """Pairs of arms compared in one measure; none for a measure that is a largest value.

    Args:
        shares: what each bank adds to the measure.
        pairs: the arms.
        resamples: banks drawn again, the same ones for every measure.
        flips: how many exchanges are tried where they cannot all be.
        level: of confidence of the intervals.
    """
    if shares.measure.kind is Kind.LARGEST:
        return ()
    found: list[Difference] = []
    for start in range(0, len(pairs), _PAIRS_AT_ONCE):
        some = pairs[start : start + _PAIRS_AT_ONCE]
        found += _compared(shares, some, resamples, flips, level)
    corrected = holm(np.array([each.p for each in found]))
    return tuple(evolve(each, p_holm=p) for each, p in zip(found, corrected.tolist(), strict=True))


def holm(p: Floats) -> Floats:
    """Holm's correction of the p values of one family; those that are no number stay so.

    Args:
        p: of the shape (n,).
    """
    adjusted: Floats = np.full(len(p), np.nan)
    known = np.flatnonzero(np.isfinite(p))
    order = known[np.argsort(p[known], kind="stable")]
    stepped = p[order] * np.arange(len(order), 0, -1)
    adjusted[order] = np.minimum(np.maximum.accumulate(stepped), 1.0)
    return adjusted


@frozen(eq=False)
class Sides:
    """What the banks add to a measure in the two arms of some pairs.

    Attributes:
        measure: it.
        upper: above the line, of the shape (banks, columns); an arm is one column however many
            pairs it is in, so that sums over banks are worked out once.
        lower: below the line, of the same shape.
        first: which column is the first arm of each pair, of the shape (pairs,).
        second: which one is the second arm, of the same shape.
    """

    measure: Measure
    upper: Floats
    lower: Floats
    first: Whole
    second: Whole

    def difference(self) -> Floats:
        """The first arms' values less the second's, of the shape (pairs,)."""
        values = self.measure.of(self.upper.sum(axis=0), self.lower.sum(axis=0))
        return values[self.first] - values[self.second]

    def differ(self) -> Flags:
        """In which banks the two arms are not the same, of the shape (banks, pairs)."""
        above = self.upper[:, self.first] != self.upper[:, self.second]
        flags: Flags = above | (self.lower[:, self.first] != self.lower[:, self.second])
        return flags

    def exchanged(self, which: Floats) -> Floats:
        """The difference with the arms exchanged in some banks.

        Args:
            which: 1 for the banks in which they are, 0 else, of the shape (flips, banks).

        Returns:
            Of the shape (flips, pairs).
        """
        first, second = self.first, self.second
        upper, lower = self.upper.sum(axis=0), self.lower.sum(axis=0)
        above, below = which @ self.upper, which @ self.lower
        above, below = above[:, second] - above[:, first], below[:, second] - below[:, first]
        one = self.measure.of(upper[first] + above, lower[first] + below)
        return one - self.measure.of(upper[second] - above, lower[second] - below)

    def resampled(self, resamples: Resamples) -> Floats:
        """The difference in each resample, of the shape (resamples, pairs)."""
        columns = self.upper.shape[1]
        sums = resamples.sums(np.hstack([self.upper, self.lower]))
        values = self.measure.of(sums[:, :columns], sums[:, columns:])
        return values[:, self.first] - values[:, self.second]

    def left_out(self) -> Floats:
        """The difference with one bank left out at a time, of the shape (banks, pairs)."""
        values = left_out(self.measure, self.upper, self.lower)
        return values[:, self.first] - values[:, self.second]

    def noise(self) -> Floats:
        """By how much differences may differ and still be the same, of the shape (pairs,)."""
        values = np.abs(self.measure.of(self.upper.sum(axis=0), self.lower.sum(axis=0)))
        size: Floats = _NOISE * np.maximum(values[self.first], values[self.second])
        return size

    def part(self, pair: int, banks: Flags) -> Sides:
        """One pair, with all banks in which it is the same as one bank."""
        both = [self.first[pair], self.second[pair]]

        def of(values: Floats) -> Floats:
            some = values[:, both]
            return np.vstack([some[banks], some[~banks].sum(axis=0)])

        return Sides(self.measure, of(self.upper), of(self.lower), np.array([0]), np.array([1]))


def sides_of(shares: Shares, pairs: Sequence[Pair]) -> Sides:
    """The two arms of each pair, over the banks that ran in both.

    Args:
        shares: what each bank adds to a measure.
        pairs: the arms.
    """
    places: dict[tuple[int, bytes], int] = {}
    kept: list[tuple[int, Flags]] = []
    ends: list[int] = []
    for pair in pairs:
        both = shares.ran[:, pair.first] & shares.ran[:, pair.second]
        for arm in (pair.first, pair.second):
            key = arm, both.tobytes()
            if key not in places:
                places[key] = len(kept)
                kept.append((arm, both))
            ends.append(places[key])
    upper, lower = (
        np.stack([np.where(ran, values[:, arm], 0.0) for arm, ran in kept], axis=1)
        for values in (shares.upper, shares.lower)
    )
    return Sides(shares.measure, upper, lower, np.array(ends[::2]), np.array(ends[1::2]))


def swap_test(sides: Sides, seed: int, flips: int = FLIPS) -> tuple[Floats, Flags]:
    """How often arms that are exchanged at random differ by as much as they do, or more.

    Args:
        sides: what the banks add in the two arms.
        seed: of the exchanges; the same ones for every pair and measure.
        flips: how many are tried where there are too many banks for all.

    Returns:
        The p values, and whether they are exact, each of the shape (pairs,).
    """
    observed = np.abs(sides.difference())
    least = observed - sides.noise()
    differ = sides.differ()
    exact: Flags = differ.sum(axis=0) <= MOST_EXACT
    p: Floats = np.full(len(observed), np.nan)
    for pair in np.flatnonzero(exact).tolist():
        part = sides.part(pair, differ[:, pair])
        banks = int(np.count_nonzero(differ[:, pair]))
        ways = (np.arange(2**banks)[:, None] >> np.arange(banks + 1)) & 1
        p[pair] = np.mean(_as_far(part.exchanged(ways.astype(np.float64)), least[[pair]]))
    if not exact.all():
        as_far = np.zeros(len(observed))
        for which in _flips(seed, flips, len(differ)):
            as_far += _as_far(sides.exchanged(which), least).sum(axis=0)
        # The names as they are count as one more exchange, or p could be 0.
        p[~exact] = ((1.0 + as_far) / (1.0 + flips))[~exact]
    p[~np.isfinite(observed)] = np.nan
    return p, exact


def _as_far(exchanged: Floats, least: Floats) -> Flags:
    # What is not defined once exchanged speaks for neither, so it counts against a difference.
    flags: Flags = ~(np.abs(exchanged) < least)
    return flags


def _flips(seed: int, flips: int, banks: int) -> Iterator[Floats]:
    rng = np.random.default_rng([seed, _STREAM])
    step = max(1, _FLIPS_AT_ONCE // banks)
    for start in range(0, flips, step):
        some = min(step, flips - start)
        drawn = rng.integers(0, 256, size=(some, (banks + 7) // 8), dtype=np.uint8)
        yield np.unpackbits(drawn, axis=1, count=banks).astype(np.float64)


def _compared(
    shares: Shares, pairs: Sequence[Pair], resamples: Resamples, flips: int, level: float
) -> list[Difference]:
    firsts, seconds = [each.first for each in pairs], [each.second for each in pairs]
    both = shares.ran[:, firsts] & shares.ran[:, seconds]
    sides = sides_of(shares, pairs)
    value = sides.difference()
    p, exact = swap_test(sides, resamples.seed, flips)
    ends = _ends(sides, value, resamples, level)
    alone = shares.by_bank()
    one = np.where(both, alone[:, firsts], np.nan)
    other = np.where(both, alone[:, seconds], np.nan)
    differ = sides.differ()
    return [
        Difference(
            pair,
            float(value[k]),
            float(ends.low[k]),
            float(ends.high[k]),
            float(p[k]),
            np.nan,
            bool(exact[k]),
            standardised(one[:, k] - other[:, k]),
            better_share(one[:, k], other[:, k], lower=shares.measure.lower_is_better),
            int(both[:, k].sum()),
            int(np.isfinite(one[:, k] - other[:, k]).sum()),
            int(differ[:, k].sum()),
        )
        for k, pair in enumerate(pairs)
    ]


def _ends(sides: Sides, value: Floats, resamples: Resamples, level: float) -> Intervals:
    ends = bias_corrected(value, sides.resampled(resamples), sides.left_out(), level)
    # Drawing banks again cannot tell how sure a difference is that no bank departs from.
    same = same_in_every_bank(sides.upper, sides.lower)
    there = sides.lower > 0.0
    one_bank = (there[:, sides.first] | there[:, sides.second]).sum(axis=0) <= 1
    none = (same[sides.first] & same[sides.second]) | one_bank | ~sides.differ().any(axis=0)
    return Intervals(np.where(none, np.nan, ends.low), np.where(none, np.nan, ends.high))


def standardised(differences: Floats) -> float:
    """Mean over standard deviation; not a number for fewer than two, or where all are the same.

    Args:
        differences: of the banks; what is no number is left out.
    """
    known = differences[np.isfinite(differences)]
    if len(known) < 2:
        return np.nan
    spread = float(known.std(ddof=1))
    if spread <= _NOISE * float(np.abs(known).max()):
        return np.nan
    return float(known.mean()) / spread


def better_share(one: Floats, other: Floats, *, lower: bool) -> float:
    """Share of banks in which one arm is better; ties count half, and nothing known is no number.

    Args:
        one: values of the banks in one arm.
        other: the same in the other.
        lower: whether lower is better.
    """
    known = np.isfinite(one) & np.isfinite(other)
    if not known.any():
        return np.nan
    better = one[known] < other[known] if lower else one[known] > other[known]
    ties = one[known] == other[known]
    return float((better + 0.5 * ties).mean())
