"""What one segment of a trace is made of: its sampling, its currents, and what is odd about it.

Compiled; `harness.strategies.grow` puts the segments together.
"""

from __future__ import annotations

from math import ceil, inf, isfinite, nan

import numpy as np

from ctrl.limits import Limits
from harness.strategies.aims import (
    COMFORT_C,
    COMFORT_CELL_V,
    SAMPLES,
    UNREADABLE,
    Aim,
    keeping_v,
)
from harness.strategies.choices import CHOICES
from harness.world.compiling import part

# What is chosen among; the plainest first.
BEHIND = (3, 2, 0, -1, 1, 4, -2, 2, 6, -3, 0, 3)
INTERVALS_S = (1.0, 1.0, 0.5, 1.0, 2.0, 0.25, 1.0, 0.1, 5.0, 1.0)
CURRENTS_A = (10.0, 0.0, 30.0, 3.0, -20.0, 0.5, 80.0, -3.0)
ALTERNATING, LOWEST, HIGHEST = 13, 14, 15
# From here on a stamp in floating point is no longer exact to the slack with which times compare.
FAR_S = 1e6
# A segment longer than so many samples is sampled more seldom, as far as continuity allows.
MANY_SAMPLES = 36
# In what way a segment is odd, from this choice on; the first ones come twice as often.
FIRST_ODDITY = 36
ODDITIES = 16
(
    POWER_LOST_WITHIN, GAP, BACK, UNREAD, DIP, RAMP, REPEATED, HOVER, ABSENT, NO_STAMP, POWER_LOST,
    OTHER_TEMPERATURE, JITTER, INFINITE, BEYOND_BELIEF, LONGEST_INTERVAL,
) = range(ODDITIES)  # fmt: skip


@part
def oddity(choice: int) -> int:
    """What is odd about a segment; -1 for nothing."""
    return (choice - FIRST_ODDITY) % ODDITIES if choice >= FIRST_ODDITY else -1


@part
def longest_s(limits: Limits, clock_s: float) -> float:
    """The longest interval that is continuous, s; far from zero, where stamps are coarse, less."""
    # Without the slack that the limit has been given.
    gap_s = float(np.rint(1e6 * limits.max_gap_s)) / 1e6
    return gap_s if abs(clock_s) < FAR_S else gap_s - 2e-3


@part
def surroundings(limits: Limits, choice: int, before: Aim, stage: int) -> Aim:
    """Cell voltage and temperatures that stay while something else happens."""
    cell_v, temp_c, hot_c = before.cell_v, before.temp_c, before.hot_c
    pick = choice % 32
    if pick < 12:
        cell_v, temp_c, hot_c = COMFORT_CELL_V, COMFORT_C, nan
    elif pick == 12:
        cell_v = nan
    elif pick == 13:
        temp_c = nan
    elif pick == 14:
        hot_c = temp_c + 2.0
    elif pick == 15 and limits.cell_limit_v < inf:
        cell_v = limits.cell_limit_v - 1e-3
    elif pick == 16 and limits.charge_min_c > -inf:
        temp_c = limits.charge_min_c
    elif pick == 17 and limits.charge_max_c < inf:
        temp_c, hot_c = COMFORT_C, limits.charge_max_c
    elif pick == 18:
        temp_c = 5.0
    elif pick == 19:
        temp_c, hot_c = 29.0, nan
    return Aim(keeping_v(limits, stage), nan, cell_v, temp_c, hot_c, 3.0, True, SAMPLES)


@part
def sampling(longest_s: float, to: Aim, choice: int, length: int) -> tuple[float, int]:
    """Sampling interval (s) and number of samples of a segment."""
    interval_s = min(INTERVALS_S[choice % len(INTERVALS_S)], longest_s)
    wait_s = min(to.wait_s, 1e6)
    if to.kind == UNREADABLE:
        return 0.5 * longest_s, 1 + length % 4
    if wait_s / interval_s > MANY_SAMPLES:
        interval_s = min(float(ceil(wait_s / MANY_SAMPLES)), longest_s)
    # The slack that the limits have taken off must not round up to one sample more.
    count = ceil(wait_s / interval_s - 1e-7) + (1 if to.dwells else 0)
    if length >= CHOICES - 8:
        count = count // 2
    else:
        count += BEHIND[length % len(BEHIND)]
    return interval_s, min(max(count, 1), 130)


@part
def current(limits: Limits, to: Aim, choice: int, k: int) -> float:
    """The current of sample `k` of a segment, A."""
    if isfinite(to.current_a):
        return to.current_a
    pick = choice % 16
    if pick == LOWEST:
        return limits.low_i
    if pick == HIGHEST:
        return limits.high_i
    if pick == ALTERNATING:
        return 12.0 if k % 2 == 0 else -7.0
    return CURRENTS_A[pick % len(CURRENTS_A)]


@part
def interval_at(
    longest_s: float, odd: int, twist: int, k: int, at: int, interval_s: float
) -> float:
    """The distance of sample `k` from the one before, s."""
    if odd == JITTER:
        return interval_s * (1.0 + 0.08 * ((k * 5 + twist) % 7 - 3))
    if k != at:
        return interval_s
    if odd == REPEATED:
        return 0.0
    if odd == LONGEST_INTERVAL:
        return longest_s
    if odd == GAP:
        return longest_s + (0.5 if twist % 2 else 600.0)
    if odd == BACK:
        pick = twist % 5
        if pick == 0:
            return -0.5
        if pick == 1:
            return -50.0
        if pick == 2:
            return -1e-10
        return -4_294_967.296 if pick == 3 else -65.536
    return interval_s


@part
def beyond_belief(limits: Limits, v: float, i: float, twist: int) -> tuple[float, float]:
    """The voltage or the current a little outside its bounds."""
    pick = twist % 4
    if pick == 0:
        return limits.high_v + 1e-3, i
    if pick == 1:
        return v, limits.low_i - 0.25
    if pick == 2:
        return v, limits.high_i + 0.25
    return limits.low_v - 1e-3, i
