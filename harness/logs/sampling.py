"""How finely a log was written: its interval, and the steps of its numbers."""

from __future__ import annotations

import numpy as np
from attrs import frozen

from harness.logs.log import PackLog
from harness.run import Floats

# So many values tell in which steps a column is written.
LOOKED_AT = 20_000
MOST_DECIMALS = 7
# Without a word from the mapping, an interval longer than so many usual ones is a gap of the log.
GAP_INTERVALS = 3.0


@frozen
class Sampling:
    """How finely one pack's log was written.

    Attributes:
        usual_s: the median interval between rows, s.
        gap_s: longest interval that is no gap of the log, s.
        longest_s: longest interval that is no gap, s.
        stamp_step_s: step of the stamps where intervals vary by it, s; 0 where they do not.
    """

    usual_s: float
    gap_s: float
    longest_s: float
    stamp_step_s: float


def sampling_of(t: Floats, gap_s: float | None) -> Sampling:
    """How finely stamps were written; `t` in s, NaN where one is missing."""
    stamps = t[np.isfinite(t)] if np.isnan(t).any() else t
    step_s = np.diff(stamps)
    forward = step_s[step_s > 0] if (step_s <= 0).any() else step_s
    if not len(forward):
        return Sampling(0.0, gap_s or np.inf, 0.0, 0.0)
    usual_s = float(np.median(forward[:: max(1, len(forward) // 1_000_000)]))
    limit_s = GAP_INTERVALS * usual_s if gap_s is None else gap_s
    fair = forward[forward <= limit_s] if forward.max() > limit_s else forward
    longest_s = float(fair.max(initial=0.0))
    grid_s = step_of(stamps)
    uneven = longest_s - float(fair.min(initial=longest_s)) > 0.5 * grid_s
    return Sampling(usual_s, limit_s, longest_s, grid_s if grid_s >= 1e-3 and uneven else 0.0)


def step_of(values: Floats | None) -> float:
    """The step in which numbers are written: 0.01 for two decimals; 0 where there is none."""
    if values is None:
        return 0.0
    some = values[:: max(1, len(values) // LOOKED_AT)]
    some = some[np.isfinite(some)]
    if not len(some):
        return 0.0
    for decimals in range(MOST_DECIMALS + 1):
        scaled = some * 10.0**decimals
        if np.abs(scaled - np.rint(scaled)).max() <= 1e-6 + 1e-12 * np.abs(scaled).max():
            return float(10.0**-decimals)
    return 0.0


def steps_of(log: PackLog) -> dict[str, float]:
    """The step in which each column of a log is written; 0 for those without one."""
    readings = {name: log.trace.column(name) for name in log.trace.columns if name != "t"}
    answers = {
        name: getattr(log, name) for name in ("soc", "voltage_request_v", "current_request_a")
    }
    return {name: step_of(values) for name, values in {**readings, **answers}.items()}
