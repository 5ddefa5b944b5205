"""Intervals by the bootstrap: banks are drawn again with replacement, the same ones for every arm.

A bank is what is independent of the others; its packs and days are not. So whole banks are drawn,
and since every arm has the same banks drawn, what the arms have in common falls out of differences.
The ends are those of the bias-corrected and accelerated interval (BCa), which unlike the percentile
interval allows for a skewed law, as that of rare events is.
"""

from __future__ import annotations

from collections.abc import Iterator
from statistics import NormalDist

import numpy as np
import numpy.typing as npt
from attrs import define, field, frozen

from harness.run import Floats

Counts = npt.NDArray[np.uint16]

RESAMPLES = 9_999
LEVEL = 0.95
# So many counts are made at once, which bounds the memory whatever the number of banks.
MOST_AT_ONCE = 400_000
# So many counts are kept for the next measure; beyond, they are drawn anew, the same ones.
MOST_KEPT = 64_000_000
# An interval is told only if the value is defined in at least this share of the resamples.
LEAST_DEFINED = 0.9
_NORMAL = NormalDist()
# Apart from the flips of the paired tests, which are drawn of the same seed.
_STREAM = 1


@define(eq=False)
class Resamples:
    """Banks drawn again and again with replacement.

    Attributes:
        seed: of the draws.
        banks: how many there are to draw from, and how many are drawn each time.
        how_many: how often they are drawn.
    """

    seed: int
    banks: int
    how_many: int = RESAMPLES
    _kept: list[Counts] = field(factory=list, init=False)

    def sums(self, columns: Floats) -> Floats:
        """Sums over the drawn banks.

        Args:
            columns: values of the banks, of the shape (banks, n).

        Returns:
            Of the shape (how_many, n).
        """
        parts = [counts.astype(np.float64) @ columns for counts in self._counts()]
        return np.concatenate(parts) if parts else np.zeros((0, columns.shape[1]))

    def _counts(self) -> Iterator[Counts]:
        """How often each bank was drawn, of the shape (some resamples, banks)."""
        if self._kept:
            yield from self._kept
            return
        keep = self.how_many * self.banks <= MOST_KEPT
        rng = np.random.default_rng([self.seed, _STREAM])
        step = max(1, MOST_AT_ONCE // self.banks)
        made: list[Counts] = []
        for start in range(0, self.how_many, step):
            some = min(step, self.how_many - start)
            drawn = rng.integers(0, self.banks, size=(some, self.banks), dtype=np.int64)
            drawn += np.arange(some)[:, None] * self.banks
            counts = np.bincount(drawn.ravel(), minlength=some * self.banks)
            whole: Counts = counts.reshape(some, self.banks).astype(np.uint16)
            if keep:
                made.append(whole)
            yield whole
        self._kept = made


@frozen(eq=False)
class Intervals:
    """Ends of intervals; not a number where there is none.

    Attributes:
        low: lower ends, of the shape (n,).
        high: upper ends, of the shape (n,).
    """

    low: Floats
    high: Floats


def percentile(resampled: Floats, level: float = LEVEL) -> Intervals:
    """Percentile intervals.

    Args:
        resampled: values in the resamples, of the shape (resamples, n).
        level: of confidence.
    """
    tail = (1.0 - level) / 2.0
    n = resampled.shape[1]
    return _ends(resampled, np.full(n, tail), np.full(n, 1.0 - tail))


def bias_corrected(
    value: Floats, resampled: Floats, left_out: Floats, level: float = LEVEL
) -> Intervals:
    """BCa intervals.

    Args:
        value: the values, of the shape (n,).
        resampled: the same in the resamples, of the shape (resamples, n).
        left_out: the same with one bank left out at a time, of the shape (banks, n).
        level: of confidence.
    """
    n = len(value)
    low_at, high_at = np.full(n, np.nan), np.full(n, np.nan)
    tail = (1.0 - level) / 2.0
    for k in range(n):
        known = resampled[:, k][np.isfinite(resampled[:, k])]
        if not len(known) or not np.isfinite(value[k]):
            continue
        near = _noise(known, value[k])
        below = np.count_nonzero(known < value[k] - near)
        upto = np.count_nonzero(known <= value[k] + near)
        share = (below + upto) / (2.0 * len(known))
        speed = _acceleration(left_out[:, k])
        if 0.0 < share < 1.0:
            shift = _NORMAL.inv_cdf(share)
            low_at[k] = _moved(shift, speed, tail)
            high_at[k] = _moved(shift, speed, 1.0 - tail)
        else:
            low_at[k], high_at[k] = tail, 1.0 - tail
    return _ends(resampled, low_at, high_at)


def _noise(known: Floats, value: float) -> float:
    """Values no farther apart than this are the same, but for the order in which they were added."""
    return 1e-12 * max(abs(value), float(np.abs(known).max()))


def _moved(shift: float, speed: float, share: float) -> float:
    z = _NORMAL.inv_cdf(share) + shift
    slack = 1.0 - speed * z
    # Beyond its pole the formula turns around; there it means the farthest value.
    if slack <= 0.0:
        return 1.0 if z > 0.0 else 0.0
    return _NORMAL.cdf(shift + z / slack)


def _acceleration(left_out: Floats) -> float:
    known = left_out[np.isfinite(left_out)]
    if len(known) < 2:
        return 0.0
    apart = known.mean() - known
    squares = float((apart**2).sum())
    if squares <= (1e-12 * float(np.abs(known).max())) ** 2 * len(known):
        return 0.0
    cubes = float((apart**3).sum())
    return float(cubes / (6.0 * squares**1.5))


def _ends(resampled: Floats, low_at: Floats, high_at: Floats) -> Intervals:
    n = resampled.shape[1]
    low, high = np.full(n, np.nan), np.full(n, np.nan)
    for k in range(n):
        known = resampled[:, k][np.isfinite(resampled[:, k])]
        enough = len(known) >= LEAST_DEFINED * len(resampled) and len(known) > 0
        if enough and np.isfinite(low_at[k]):
            low[k], high[k] = np.quantile(known, [low_at[k], high_at[k]])
    return Intervals(low, high)
