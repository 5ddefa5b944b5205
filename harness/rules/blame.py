"""Which requirement a wrong dwell belongs to.

A dwell can be wrong because it is short, or because the controller let it run across a gap, or let
an invalid reading break it. The signals tell which.
"""

from __future__ import annotations

import numpy as np

from harness.rules.life import Life
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
        return break_blame(life, across)
    if life.after_power_cycle and begin == 0:
        return FORGETS
    return default


def break_blame(life: Life, k: int) -> str:
    """The requirement that a dwell breaks which runs on over the break in time at sample `k`."""
    return BACK if life.steps_back(k) else GAP


def late_blame(life: Life, default: str, begin: int, late: int, dwell_s: float) -> str:
    """The requirement that a decision breaks which is overdue at sample `late`.

    Args:
        life: the evidence.
        default: the requirement that asks for the decision.
        begin: the sample from which the dwell counts.
        late: the sample at which it is overdue.
        dwell_s: length of the dwell, s.
    """
    rows = life.valid_rows
    if rows is None or not life.invalid_between(begin, late):
        return default
    # An invalid reading is to blame only if a dwell that began behind it would not be over yet.
    behind = begin + 1 + int(np.flatnonzero(np.diff(rows[begin : late + 1]) > 1)[-1])
    return INVALID if life.t[late] - life.t[behind] < dwell_s else default
