"""What might help, and what came of trying it."""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum

from attrs import frozen

from ctrl.settings import Settings
from harness.run import Trace
from harness.world.bank import World


class How(Enum):
    """How a change was tried; the value is how it is told."""

    REPLAYED = "replayed on the log"
    SIMULATED = "simulated in a bank fitted to the log"
    NOT_TRIED = "not tried"


@frozen(eq=False)
class Candidate:
    """A change that might help.

    Attributes:
        change: what to do, in plain words.
        risk: what it may cost, in plain words; empty for nothing to speak of.
        danger: 0 for none, 1 where a hold or a proof becomes weaker, 2 where voltages rise.
        settings: the pack's settings after it; None where they stay.
        trace: what the pack would have read; None where it stays.
        world: the same change on a simulated bank; None where there is nothing to simulate.
    """

    change: str
    risk: str = ""
    danger: int = 0
    settings: Settings | None = None
    trace: Callable[[Trace], Trace] | None = None
    world: Callable[[World], World] | None = None


@frozen(eq=False)
class Fix:
    """A change, and what came of trying it.

    Attributes:
        change: what to do.
        how: how it was tried.
        helps: whether the pack is called full with it; None where nobody can say.
        starts: whether it starts a hold that had not started, where no more can be said.
        days: on how many of the days on which it was not full, it would be.
        of_days: how many those are.
        highest_cell_v: highest voltage of a cell in the simulation, V; NaN where there was none.
        above_float_h: longest time above the float voltage in the simulation, h; NaN likewise.
        risk: what it may cost.
        danger: as of the candidate.
        world: the same change on a simulated bank; None where there is nothing to simulate.
    """

    change: str
    how: How
    helps: bool | None
    starts: bool
    days: int
    of_days: int
    highest_cell_v: float
    above_float_h: float
    risk: str
    danger: int
    world: Callable[[World], World] | None = None
