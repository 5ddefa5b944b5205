"""Wiring and meters apart: what lies between the charger's voltage and a pack's, by current."""

from __future__ import annotations

from enum import Enum

import numpy as np
from attrs import field, frozen

from harness.explain.line import MOST_POINTS, NORMAL, Line, robust_line
from harness.run import Flags, Floats

# Rows are taken together in blocks of about so long, s: their noise falls, and a lag matters less.
BLOCK_S = 30.0
# How far the two clocks may be apart, s.
MOST_LAG_S = 120.0
# A lag is believed when it takes off at least this share of the scatter.
LAG_PAYS = 0.2
# Below this the current does not vary enough to tell a resistance from an offset, A.
LEAST_SPAN_A = 3.0
# The resistance must be known to so many milliohm, or to a third of itself.
SURE_OHM = 0.003
# A difference so many times as far from the usual one as usual, and so far at least, is no reading.
FAR, FAR_V = 10.0, 1.0


class Apart(Enum):
    """Whether the two can be told apart; the value is the reason for people."""

    YES = "yes"
    FEW = "there are too few readings of both voltages"
    SPAN = "the current hardly changes, so a resistance and an offset look alike"
    SCATTER = "the readings scatter too much"


@frozen(eq=False)
class Points:
    """What the line was drawn through, or evenly chosen ones of it where they are many.

    Attributes:
        current_a: mean current of each block, A; shape (points,), at most `MOST_POINTS`.
        difference_v: mean of the charger's voltage less the pack's, V; the same shape.
    """

    current_a: Floats = field(factory=lambda: np.empty(0))
    difference_v: Floats = field(factory=lambda: np.empty(0))


@frozen
class Between:
    """What lies between the charger and one pack.

    Attributes:
        apart: whether resistance and mismatch could be told apart.
        line: charger's voltage less the pack's over the pack's current, V and A; None where there
            are too few readings.
        lag_s: how far the charger's clock is behind the pack's, s.
        typical_v: median of the difference, V; NaN where there are no readings.
        rows: how many rows had both voltages and the current.
        points: what the line was drawn through.
    """

    apart: Apart
    line: Line | None
    lag_s: float
    typical_v: float
    rows: int
    points: Points = field(factory=Points, eq=False, repr=False)

    @property
    def wiring_ohm(self) -> float:
        """Resistance of the wiring, ohm; NaN where it cannot be told."""
        return self.line.slope if self.line and self.apart is Apart.YES else float("nan")

    @property
    def mismatch_v(self) -> float:
        """How much more the charger's meter reads, V; NaN where it cannot be told."""
        return self.line.intercept if self.line and self.apart is Apart.YES else float("nan")


def between(
    t: Floats, charger_v: Floats, v: Floats, i: Floats, shared_v: Floats | None = None
) -> Between:
    """Separate wiring and meters of one pack.

    Args:
        t: stamps, s, increasing; shape (rows,).
        charger_v: voltage at the charger's terminals as its own meter reads it, V; NaN is missing.
        v: voltage at the pack as its meter reads it, V.
        i: current into the pack, A.
        shared_v: what falls off on conductors that other packs share, V; None for nothing, or for
            what nobody knows: then it shows in the resistance, by the share of the others.

    Returns:
        The line, and whether it can be believed.
    """
    if shared_v is not None:
        charger_v = charger_v - shared_v
    whole = np.isfinite(t) & np.isfinite(charger_v) & np.isfinite(v) & np.isfinite(i)
    whole &= _plausible(charger_v - v)
    rows = int(np.count_nonzero(whole))
    if rows < 30:
        return Between(Apart.FEW, None, 0.0, _median(charger_v - v), rows)
    t, charger_v, v, i = t[whole], charger_v[whole], v[whole], i[whole]
    lag_s = _lag(t, charger_v, v, i)
    grain_v = max(_grain(v), _grain(charger_v))
    difference_v = charger_v - v
    current_a, mean_v = _blocks(t, i, difference_v)
    line = robust_line(current_a, mean_v, grain_v)
    if lag_s:
        moved_v = np.interp(t + lag_s, t, charger_v) - v
        moved_a, moved_mean_v = _blocks(t, i, moved_v)
        moved = robust_line(moved_a, moved_mean_v, grain_v)
        if _better(moved, line):
            line, difference_v, current_a, mean_v = moved, moved_v, moved_a, moved_mean_v
        else:
            lag_s = 0.0
    points = _some(current_a, mean_v)
    typical_v = float(np.median(difference_v))
    if line is None:
        return Between(Apart.SPAN, None, lag_s, typical_v, rows, points)
    if line.high_x - line.low_x < LEAST_SPAN_A:
        return Between(Apart.SPAN, line, lag_s, typical_v, rows, points)
    if line.slope_error > max(SURE_OHM, abs(line.slope) / 3.0):
        return Between(Apart.SCATTER, line, lag_s, typical_v, rows, points)
    return Between(Apart.YES, line, lag_s, typical_v, rows, points)


def _plausible(difference_v: Floats) -> Flags:
    """Where a meter does not read nonsense, which would spoil the mean of a whole block."""
    finite = difference_v[np.isfinite(difference_v)]
    if not len(finite):
        return np.zeros(len(difference_v), bool)
    middle = float(np.median(finite))
    usual = NORMAL * float(np.median(np.abs(finite - middle)))
    near: Flags = np.abs(difference_v - middle) <= max(FAR * usual, FAR_V)
    return near


def _better(one: Line | None, other: Line | None) -> bool:
    """Whether a lag that pays where the voltage moves most pays over the whole log as well."""
    if one is None or other is None:
        return one is not None
    less = one.scatter < (1.0 - LAG_PAYS) * other.scatter
    return less and one.outliers <= other.outliers + other.points // 50


def _median(values: Floats) -> float:
    finite = values[np.isfinite(values)]
    return float(np.median(finite)) if len(finite) else float("nan")


def _blocks(t: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Means of x and y over blocks of time; blocks in which the current swings are left out."""
    place = np.floor((t - t[0]) / BLOCK_S).astype(np.int64)
    starts = np.flatnonzero(np.concatenate(([True], place[1:] != place[:-1])))
    count = np.diff(np.append(starts, len(t)))
    mean_x = np.add.reduceat(x, starts) / count
    mean_y = np.add.reduceat(y, starts) / count
    swing = np.maximum.reduceat(x, starts) - np.minimum.reduceat(x, starts)
    # A step of the current within a block is where a lag and a slow meter do their harm.
    calm = swing <= max(2.0, float(np.median(swing)) * 3.0)
    if np.count_nonzero(calm) >= max(10, len(calm) // 5):
        mean_x, mean_y = mean_x[calm], mean_y[calm]
    return mean_x, mean_y


def _grain(values: Floats) -> float:
    """The steps in which a meter shows its values; 0 where they are too fine to be seen."""
    steps = np.abs(np.diff(values[:20_000]))
    steps = steps[steps > 1e-9]
    if len(steps) < 20:
        return 0.0
    least = float(np.quantile(steps, 0.05))
    return least if least > 1e-4 else 0.0


def _some(x: Floats, y: Floats) -> Points:
    """At most `MOST_POINTS` of the points, evenly chosen."""
    if len(x) <= MOST_POINTS:
        return Points(x, y)
    some = np.linspace(0, len(x) - 1, MOST_POINTS).astype(np.intp)
    return Points(x[some], y[some])


def _lag(t: Floats, charger_v: Floats, v: Floats, i: Floats) -> float:
    """How far the charger's clock is behind, s: where the difference scatters least."""
    step_s = float(np.median(np.diff(t)))
    if not step_s > 0.0 or step_s > MOST_LAG_S / 2.0:
        return 0.0
    window = _liveliest(v)
    t, charger_v, v, i = t[window], charger_v[window], v[window], i[window]
    at = np.arange(-MOST_LAG_S, MOST_LAG_S + step_s / 2.0, step_s)
    if len(at) > 241:
        at = np.linspace(-MOST_LAG_S, MOST_LAG_S, 241)
    # Rows whose partner would lie outside the window say nothing.
    inside = (t >= t[0] + MOST_LAG_S) & (t <= t[-1] - MOST_LAG_S)
    if np.count_nonzero(inside) < 30:
        return 0.0

    at_t, own_v, a = t[inside], v[inside], i[inside] - i[inside].mean()
    square = max(float((a**2).sum()), 1e-12)

    def scatter(lag_s: float) -> float:
        y = np.interp(at_t + lag_s, t, charger_v) - own_v
        y -= y.mean()
        y -= (float((a * y).sum()) / square) * a
        return float(np.median(np.abs(y)) + np.std(y))

    none = scatter(0.0)
    found = [(scatter(float(lag_s)), abs(float(lag_s)), float(lag_s)) for lag_s in at]
    least, _, lag_s = min(found)
    return lag_s if least < (1.0 - LAG_PAYS) * none else 0.0


def _liveliest(v: Floats, rows: int = 20_000) -> slice:
    """The stretch in which the voltage moves most: there a lag shows best."""
    if len(v) <= rows:
        return slice(0, len(v))
    moves = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(v)))))
    starts = np.arange(0, len(v) - rows, rows // 2)
    best = int(starts[int(np.argmax(moves[starts + rows] - moves[starts]))])
    return slice(best, best + rows)
