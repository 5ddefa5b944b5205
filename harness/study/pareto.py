"""Which arms no other arm beats: of false and missed full resets, fewer of one cost more of the other."""

from __future__ import annotations

import numpy as np

from harness.run import Floats
from harness.study.results import Flags


def not_dominated(*goals: Floats) -> Flags:
    """Arms than which no other is at least as good in every goal and better in one.

    Args:
        goals: values of the arms in each goal, lower is better; of the shape (arms,). An arm of
            which one is no number is never among those returned, and beats no other.

    Returns:
        Of the shape (arms,).
    """
    values = np.stack(goals, axis=1)
    known: Flags = np.asarray(np.isfinite(values).all(axis=1))
    beaten: Flags = np.zeros(len(values), bool)
    for each in values[known]:
        beaten |= (each <= values).all(axis=1) & (each < values).any(axis=1)
    flags: Flags = known & ~beaten
    return flags
