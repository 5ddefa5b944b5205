"""The columns of a study once more, worked out with numpy from all rows of a run."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from harness.study.tally import Thresholds
from harness.world.result import Result

DAY_S, HOUR_S = 86_400.0, 3600.0


def columns_from_rows(result: Result, truth: Thresholds) -> dict[str, float]:
    """Every column; the run must have kept a row of every step."""
    world, bank, packs = result.world, result.bank, result.packs
    step_s, count = world.interval_s, len(packs)
    steps = len(bank.t)
    ran_s = steps * step_s
    begins_s = np.arange(steps) * step_s
    day = np.floor((world.start_s + begins_s) / DAY_S).astype(int)
    true = np.array([pack.true_soc for pack in packs])
    error = np.abs(np.array([pack.counted_soc for pack in packs]) - true)
    high_v = np.array([pack.cell_max_v for pack in packs])
    resets = [[(reset.t, reset.true_soc) for reset in pack.resets] for pack in result.summary.packs]
    soc_at_reset = np.array([soc for each in resets for _, soc in each])
    full_days = missed_days = to_full_days = 0
    to_full_s, longest_s = 0.0, 0.0
    for p, pack in enumerate(packs):
        becomes_full = _becomes_full(true[p], truth)
        steps_of_resets = [int(np.ceil(t / step_s - 1e-9)) - 1 for t, _ in resets[p]]
        for number in np.unique(day):
            today = day == number
            of_today = [r for r, k in zip(resets[p], steps_of_resets, strict=True) if today[k]]
            if becomes_full[today].any():
                full_days += 1
                missed_days += not of_today
            charging = today & (pack.true_a > 0.0) & (bank.charger_a > 0.0)
            if of_today and charging.any() and begins_s[charging][0] < of_today[0][0]:
                to_full_s += of_today[0][0] - begins_s[charging][0]
                to_full_days += 1
        edges = [0.0, *(t for t, _ in resets[p]), ran_s]
        longest_s = max(longest_s, *(late - early for early, late in pairwise(edges)))
    unused_kwh = 0.0
    if world.sun is not None:
        most_w = world.charger.current_a * bank.charger_v
        source_w = np.minimum(
            world.charger.power_w or np.inf, world.charger.efficiency * bank.sun_w
        )
        made_kwh = np.minimum(most_w, source_w).sum() * step_s / 3.6e6
        unused_kwh = max(made_kwh - result.summary.charger_wh / 1000.0, 0.0)
    stored_wh = sum(pack.stored_wh for pack in result.summary.packs)
    heat_wh = result.summary.charger_wh - result.summary.load_wh - stored_wh
    never = [not each for p, each in enumerate(resets) if p != world.bank.lead]
    returns = [e for e in result.events if e.pack >= 0 and (e.from_stage, e.to_stage) == (2, 0)]
    bins = np.minimum((error * 1000.0).astype(int), 999)
    return {
        "ran_days": ran_s / DAY_S,
        "pack_days": count * ran_s / DAY_S,
        "resets": len(soc_at_reset),
        "false_resets": int((soc_at_reset < truth.false_full_below_soc).sum()),
        "worst_reset_error": float((1.0 - soc_at_reset).max()) if len(soc_at_reset) else 0.0,
        "reset_error_sq": float(((1.0 - soc_at_reset) ** 2).sum()),
        "full_days": full_days,
        "missed_days": missed_days,
        "error_sq_days": float((error**2).sum()) * step_s / DAY_S,
        "error_p95": _inside_bins(np.bincount(bins.ravel(), minlength=1000), 0.95),
        "to_full_h": to_full_s / HOUR_S,
        "to_full_days": to_full_days,
        "above_345_h": int((high_v > 3.45).sum()) * step_s / HOUR_S,
        "above_350_h": int((high_v > 3.50).sum()) * step_s / HOUR_S,
        "float_to_bulk": len(returns),
        "followers": count - 1,
        "followers_never_reset": sum(never),
        "longest_without_days": longest_s / DAY_S,
        "charger_kwh": result.summary.charger_wh / 1000.0,
        "sun_unused_kwh": unused_kwh,
        "heat_kwh": heat_wh / 1000.0,
        "denied_kwh": result.summary.denied_wh / 1000.0,
        "stopped": int(result.stop is not None),
    }


def _becomes_full(soc: np.ndarray, truth: Thresholds) -> np.ndarray:
    """At which steps the pack is full that was used since it was full last."""
    used, found = False, np.zeros(len(soc), bool)
    for k, now in enumerate(soc):
        used |= now < truth.false_full_below_soc
        found[k] = used and now >= truth.truly_full_soc
        used &= not found[k]
    return found


def _inside_bins(counts: np.ndarray, share: float) -> float:
    """Walk through the bins one by one."""
    left = share * counts.sum()
    if not counts.sum():
        return float("nan")
    for number, count in enumerate(counts):
        if count and left <= count:
            return float((number + left / count) / 1000.0)
        left -= count
    raise AssertionError("a share below 1 lies in some bin")
