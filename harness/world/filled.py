"""Whether the packs of a run were filled: said by their controllers, and true.

A pack is *filled* when its controller has called it full while it was. A controller that cries full
early has proved nothing: a reset at a true state of charge below `TRULY_FULL` does not count.
"""

from __future__ import annotations

from math import nan

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.world.result import Reset, Result

# The packs of every shipped scenario are reset at a true state of charge above 0.98; what counts a
# pack down by more than this is not found again at the next reset either.
TRULY_FULL = 0.95


@frozen
class Filling:
    """How far one pack came.

    Attributes:
        name: of the pack.
        reset: its first full reset at which it was full; None where there is none.
        early: its first full reset, at which it was not; None where there is none.
        true_soc: true SoC at that reset, or else at the end.
        highest_v: the highest voltage that its controller read, V; NaN where it read nothing.
        short_v: by how much that is under the threshold of the hold, V; negative above it.
    """

    name: str
    reset: Reset | None
    early: Reset | None
    true_soc: float
    highest_v: float
    short_v: float

    @property
    def filled(self) -> bool:
        """Whether its controller called it full, and it was."""
        return self.reset is not None


def fillings(result: Result) -> tuple[Filling, ...]:
    """How far each pack of a run came."""
    return tuple(_filling(result, p) for p in range(len(result.packs)))


def _filling(result: Result, p: int) -> Filling:
    summary, branch, rows = result.summary.packs[p], result.world.packs[p], result.packs[p]
    true = next((one for one in summary.resets if one.true_soc >= TRULY_FULL), None)
    early = next((one for one in summary.resets if one.true_soc < TRULY_FULL), None)
    read_v = rows.true_v
    if rows.samples is not None:
        # In float nothing is decided about the hold.
        read_v = rows.samples.trace.v[rows.samples.answers.stage != Stage.FLOAT]
    highest_v = float(np.nanmax(read_v)) if np.isfinite(read_v).any() else nan
    fixed = rows.identity.fixed
    entry_v = (branch.settings if fixed is None else fixed).entry_v
    return Filling(
        name=branch.name,
        reset=true,
        early=early,
        true_soc=summary.true_soc if true is None else true.true_soc,
        highest_v=highest_v,
        short_v=entry_v - highest_v,
    )
