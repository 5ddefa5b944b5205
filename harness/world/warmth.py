"""Temperature over a whole run, and what it does to resistances, compiled.

A year has a hundred thousand intervals of temperature: one by one in Python they would take longer
than the year itself.
"""

from __future__ import annotations

from math import cos, exp, pi

from harness.world.compiling import kernel, part
from harness.world.daytime import DAY_S
from harness.world.rows import Floats


@part
def daily(mean: float, swing: float, since_lowest: float) -> float:
    """What swings with the day, of the share of a day since it was lowest; compiled."""
    return mean - swing * cos(2.0 * pi * since_lowest)


@part
def factor_at(log_at_10_c: float, log_at_40_c: float, temp_c: float) -> float:
    """`Cell.resistance_factor`, of the logarithms of its two ratios; compiled."""
    per_k = (log_at_10_c - log_at_40_c) / 30.0
    per_k2 = (log_at_10_c + log_at_40_c) / 450.0
    below = 25.0 - min(max(temp_c, 10.0), 40.0)
    beyond = 25.0 - temp_c - below
    tangent = per_k + 2.0 * per_k2 * below
    return exp(per_k * below + per_k2 * below * below + tangent * beyond)


@kernel(__file__)
def daily_course(
    mean: float, swing: float, start_s: float, interval_s: float, lowest_s: float, course: Floats
) -> None:
    """The middle of each interval from `start_s` on, of what is lowest at `lowest_s` of a day."""
    for k in range(len(course)):
        at_s = start_s + (k + 0.5) * interval_s
        course[k] = daily(mean, swing, (at_s - lowest_s) / DAY_S)


@kernel(__file__)
def factor_course(air_c: Floats, warmer_c: Floats, logs: Floats, factors: Floats) -> None:
    """Resistance factors of packs in each interval of temperature.

    Args:
        air_c: temperature of the air, degrees C.
        warmer_c: how much warmer each pack is, K.
        logs: logarithms of the ratios of each pack's cells at 10 and 40 degrees C; shape (packs, 2).
        factors: shape (intervals, packs); written.
    """
    for k in range(len(air_c)):
        for p in range(len(warmer_c)):
            factors[k, p] = factor_at(logs[p, 0], logs[p, 1], air_c[k] + warmer_c[p])
