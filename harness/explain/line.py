"""A straight line through readings with outliers, and how sure one can be of it."""

from __future__ import annotations

from math import sqrt

import numpy as np
from attrs import frozen

from harness.run import Flags, Floats

# Theil and Sen look at every pair; of more points than this a part is taken, evenly.
MOST_POINTS = 1500
# Farther off than so many times the usual distance is an outlier.
OUTLIER = 4.5
# The scale of a normal distribution from the median of distances.
NORMAL = 1.4826
CONFIDENCE = 0.95


@frozen
class Line:
    """A line `y = intercept + slope * x`.

    Attributes:
        slope: of the line.
        slope_error: half the width of its 95 % confidence interval.
        intercept: of the line.
        intercept_error: half the width of its 95 % confidence interval.
        scatter: standard deviation of the points around it, outliers apart.
        points: how many there are.
        outliers: how many of them were left out.
        low_x: least x that supports it.
        high_x: greatest.
        mean_x: the mean of them, where the line is known best.
    """

    slope: float
    slope_error: float
    intercept: float
    intercept_error: float
    scatter: float
    points: int
    outliers: int
    low_x: float
    high_x: float
    mean_x: float

    def at(self, x: float) -> float:
        """What the line says there."""
        return self.intercept + self.slope * x

    def error_at(self, x: float) -> float:
        """Half the width of the 95 % confidence interval of the line there."""
        middle = self.intercept_error**2 - (self.slope_error * self.mean_x) ** 2
        return sqrt(max(middle, 0.0) + (self.slope_error * (x - self.mean_x)) ** 2)


def robust_line(x: Floats, y: Floats, grain: float = 0.0) -> Line | None:
    """A line through points of which some are wrong.

    Theil and Sen find the bulk of the points (H. Theil, 'A rank-invariant method of linear and
    polynomial regression analysis', 1950; P. K. Sen, 'Estimates of the regression coefficient based
    on Kendall's tau', Journal of the American Statistical Association 63, 1968). Least squares
    through those give the line. Neighbouring points that err alike count for less: the intervals
    are widened by the correlation of each residual with the next.

    Args:
        x: shape (points,), finite.
        y: the same shape, finite.
        grain: what y cannot tell apart; nobody is an outlier for less than twice of it.

    Returns:
        None where fewer than three points, or only one x, are left.
    """
    if len(x) < 3 or float(np.ptp(x)) == 0.0:
        return None
    slope = _theil_sen(x, y)
    residual = y - slope * x
    residual = residual - float(np.median(residual))
    usual = NORMAL * float(np.median(np.abs(residual)))
    # Where more than half of the points lie exactly on the line only its rounding is usual.
    kept = np.abs(residual) <= max(
        OUTLIER * usual, 2.0 * grain, 1e-9 * max(1.0, float(np.abs(y).max()))
    )
    return _least_squares(x, y, kept)


def _theil_sen(x: Floats, y: Floats) -> float:
    """The median of the slopes of all pairs."""
    if len(x) > MOST_POINTS:
        some = np.linspace(0, len(x) - 1, MOST_POINTS).astype(np.intp)
        x, y = x[some], y[some]
    first, second = np.triu_indices(len(x), 1)
    dx, dy = x[second] - x[first], y[second] - y[first]
    apart = dx != 0.0
    return float(np.median(dy[apart] / dx[apart]))


def _least_squares(x: Floats, y: Floats, kept: Flags) -> Line | None:
    a, b = x[kept], y[kept]
    n = len(a)
    if n < 3:
        return None
    mean_x, mean_y = float(a.mean()), float(b.mean())
    square = float(((a - mean_x) ** 2).sum())
    if square == 0.0:
        return None
    slope = float(((a - mean_x) * (b - mean_y)).sum()) / square
    intercept = mean_y - slope * mean_x
    residual = b - intercept - slope * a
    variance = float((residual**2).sum()) / (n - 2)
    wide = student(n - 2) * _alike(residual)
    return Line(
        slope=slope,
        slope_error=wide * sqrt(variance / square),
        intercept=intercept,
        intercept_error=wide * sqrt(variance * (1.0 / n + mean_x**2 / square)),
        scatter=sqrt(variance),
        points=len(x),
        outliers=len(x) - n,
        low_x=float(a.min()),
        high_x=float(a.max()),
        mean_x=mean_x,
    )


def _alike(residual: Floats) -> float:
    """By how much an interval is wider because neighbours err alike; 1 where they do not."""
    whole = float((residual**2).sum())
    if whole == 0.0 or len(residual) < 10:
        return 1.0
    correlation = float((residual[1:] * residual[:-1]).sum()) / whole
    correlation = min(max(correlation, 0.0), 0.98)
    return sqrt((1.0 + correlation) / (1.0 - correlation))


def student(freedom: int) -> float:
    """The two-sided 95 % quantile of Student's distribution, to three digits.

    By the expansion of Cornish and Fisher (Abramowitz and Stegun, 'Handbook of Mathematical
    Functions', 1964, 26.7.5).
    """
    if freedom < 3:
        # There the expansion is no good; these two are exact to their digits.
        return {1: 12.706, 2: 4.303}.get(freedom, float("inf"))
    z, n = 1.959963984540054, float(freedom)
    first = (z**3 + z) / 4
    second = (5 * z**5 + 16 * z**3 + 3 * z) / 96
    third = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384
    fourth = (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160
    return z + first / n + second / n**2 + third / n**3 + fourth / n**4
