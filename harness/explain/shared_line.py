"""The conductor that all packs share: what falls off between them and the charger by the sum of currents."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

import numpy as np
from attrs import frozen

from harness.explain.line import NORMAL, OUTLIER
from harness.logs.log import PackLog
from harness.run import Floats

BLOCK_S = 30.0
# The sum is known to so many ohm, or it is left out.
SURE_OHM = 0.001
ROUNDS = 6
# Above this in all the packs are being charged, A.
CHARGING_A = 0.5


@frozen(eq=False)
class Shared:
    """What the packs share.

    Attributes:
        ohm: resistance of the shared conductor; 0 where it cannot be told.
        error_ohm: half the width of its 95 % interval, as it differs between the packs; NaN where it
            cannot be told.
        total_a: the current of all packs at the rows of each, A, in the order of the packs; 0 while
            they deliver, for that does not come by the charger.
    """

    ohm: float
    error_ohm: float
    total_a: tuple[Floats, ...]


def shared_line(packs: Sequence[PackLog]) -> Shared | None:
    """The resistance that packs share; None where the log has one pack, or no charger's voltage.

    The charger's voltage less a pack's is an offset, plus the pack's own resistance times its current,
    plus the shared one times the current of all. Where packs always share alike the two currents
    go together, and nothing can be told.
    """
    if len(packs) < 2 or any(pack.charger_v is None for pack in packs):
        return None
    total_a = tuple(_total(pack, packs) for pack in packs)
    found = [f for f in map(_one, packs, total_a) if f is not None]
    total_a = tuple(np.maximum(each, 0.0) for each in total_a)
    if not found:
        return Shared(0.0, float("nan"), total_a)
    ohm = float(np.median([each for each, _ in found]))
    error = max(min(e for _, e in found), float(np.ptp([o for o, _ in found])) / 2.0)
    if error > SURE_OHM or ohm < 0.0:
        return Shared(0.0, float("nan"), total_a)
    return Shared(ohm, error, total_a)


def _total(pack: PackLog, packs: Sequence[PackLog]) -> Floats:
    t = pack.trace.t
    total = np.zeros(len(t))
    for other in packs:
        if len(other) == len(pack) and np.array_equal(other.trace.t, t, equal_nan=True):
            total += other.trace.i
            continue
        own = np.isfinite(other.trace.t) & np.isfinite(other.trace.i)
        # A clock that was set back has no order; there the others are not known.
        at, i = other.trace.t[own], other.trace.i[own]
        if len(at) < 2 or (np.diff(at) <= 0).any():
            return np.full(len(t), np.nan)
        total += np.interp(t, at, i, left=np.nan, right=np.nan)
    return total


def _one(pack: PackLog, total_a: Floats) -> tuple[float, float] | None:
    """By the rows of one pack: the shared resistance and the half width of its interval, ohm."""
    t, v, i = pack.trace.t, pack.trace.v, pack.trace.i
    assert pack.charger_v is not None
    # What the packs deliver goes to the loads, and not by the charger.
    whole = np.isfinite(t + v + i + pack.charger_v + total_a) & (total_a > CHARGING_A)
    if np.count_nonzero(whole) < 300:
        return None
    place = np.floor((t[whole] - t[whole][0]) / BLOCK_S).astype(np.int64)
    starts = np.flatnonzero(np.concatenate(([True], place[1:] != place[:-1])))
    count = np.diff(np.append(starts, len(place)))

    def mean(values: Floats) -> Floats:
        means: Floats = np.add.reduceat(values[whole], starts) / count
        return means

    design = np.column_stack([np.ones(len(starts)), mean(i), mean(total_a)])
    y = mean(pack.charger_v - v)
    kept = np.ones(len(y), bool)
    fit: Floats = np.zeros(3)
    residual = y
    for _ in range(ROUNDS):
        if np.count_nonzero(kept) < 30:
            return None
        fit = np.asarray(np.linalg.lstsq(design[kept], y[kept], rcond=None)[0], np.float64)
        residual = y - design @ fit
        usual = NORMAL * float(np.median(np.abs(residual - np.median(residual))))
        kept = np.abs(residual) <= max(OUTLIER * usual, 1e-6)
    inside = design[kept]
    variance = float((residual[kept] ** 2).sum()) / max(len(inside) - 3, 1)
    try:
        spread = np.linalg.inv(inside.T @ inside)
    except np.linalg.LinAlgError:
        return None
    error = 2.0 * sqrt(max(variance * float(spread[2, 2]), 0.0))
    return (float(fit[2]), error) if error < SURE_OHM else None
