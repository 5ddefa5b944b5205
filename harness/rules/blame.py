"""Which requirement a wrong dwell belongs to, and how its shortfall is put into words.

A dwell can be wrong because it is short, or because the controller let it run across a gap, or let
an invalid reading break it. The signals tell which.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen

from harness.rules.held import Held
from harness.rules.life import Life
from harness.rules.requirement import plain
from harness.run import Flags

GAP = "TIME.gap-restarts-dwell"
BACK = "TIME.backward-step"
INVALID = "TIME.invalid-skipped"
FORGETS = "POWER.forgets"


def early_blame(life: Life, default: str, holds: Flags, k: int, first: int) -> str:
    """The requirement that a decision at sample `k` breaks, taken before its dwell was over.

    Args:
        life: the evidence.
        default: the requirement that asks for the dwell.
        holds: where the dwell's condition is true.
        k: the sample of the decision.
        first: the earliest sample from which the dwell may count.
    """
    if not holds[k]:
        return default
    false = np.flatnonzero(~holds[first:k])
    begin = first + (int(false[-1]) + 1 if len(false) else 0)
    across = life.broken_at(begin + 1, k)
    if across >= 0:
        return BACK if life.steps_back(across) else GAP
    if life.after_power_cycle and begin == 0:
        return FORGETS
    return default


def late_blame(life: Life, default: str, begin: int, late: int) -> str:
    """The requirement that a decision breaks which is overdue at sample `late`."""
    return INVALID if life.invalid_between(begin, late) else default


@frozen
class Shortfall:
    """How far a dwell was from being justified.

    Attributes:
        margin: mV under (or over) the threshold, or s short of the dwell.
        unit: `mV` or `s`.
        sentence: the same in words.
    """

    margin: float
    unit: str
    sentence: str


def too_short(
    life: Life,
    k: int,
    held: Held,
    threshold_v: float,
    dwell_s: float,
    threshold: str,
    dwell: str,
    *,
    at_least: bool,
) -> Shortfall:
    """Why a voltage dwell does not justify a decision at sample `k`."""
    level_v = float(life.level_v[k])
    held_s = held.held_s(k)
    if held_s < 0:
        short_mv = (threshold_v - level_v if at_least else level_v - threshold_v) * 1000.0
        side = "under" if at_least else "above"
        return Shortfall(
            short_mv,
            "mV",
            f"the voltage was {level_v:.3f} V, {plain(short_mv)} mV {side} {threshold} ({threshold_v:g} V)",
        )
    side = "at or above" if at_least else "below"
    return Shortfall(
        dwell_s - held_s,
        "s",
        f"the voltage had been {side} {threshold} ({threshold_v:g} V) for {held_s:g} s of the "
        f"{dwell_s:g} s of {dwell}",
    )
