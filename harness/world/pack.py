"""One pack: cells in series that are not quite alike, electronics that draw from them, a switch."""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt
from attrs import field, frozen

from harness.errors import InputError
from harness.world.cell import Cell
from harness.world.checks import not_negative, number_within, positive, whole_within
from harness.world.network import Switch

Floats = npt.NDArray[np.float64]

# A cell farther off than this would have been sorted out.
FARTHEST_DEVIATIONS = 3.0


@frozen
class Spread:
    """How the cells of a pack differ: standard deviations of a normal law, cut at three of them.

    Attributes:
        capacity: of the capacity, as a share of it.
        soc: of the starting SoC, absolute.
        resistance: of all resistances, as a share.
        seed: the same seed draws the same cells.
    """

    capacity: float = field(default=0.0, validator=number_within(0.0, 0.3, "(a fraction)"))
    soc: float = field(default=0.0, validator=number_within(0.0, 0.3, "(a fraction)"))
    resistance: float = field(default=0.0, validator=number_within(0.0, 0.3, "(a fraction)"))
    seed: int = field(default=0, validator=whole_within(0, 2**63 - 1))


@frozen
class OddCell:
    """A cell that differs from the others by more than the spread, on top of it.

    Attributes:
        number: which, from 0.
        capacity_factor: its capacity over that of the others.
        soc_offset: what is added to its starting SoC.
        resistance_factor: its resistances over those of the others.
    """

    number: int = field(validator=whole_within(0, 10_000))
    capacity_factor: float = field(default=1.0, validator=number_within(0.05, 2.0, "(a ratio)"))
    soc_offset: float = field(default=0.0, validator=number_within(-1.0, 1.0, "(a fraction)"))
    resistance_factor: float = field(default=1.0, validator=number_within(0.05, 20.0, "(a ratio)"))


@frozen
class Balancer:
    """What evens out the cells of a pack; it looks at their voltages at the start of every step.

    Attributes:
        kind: `passive` bleeds every cell that lies more than the spread above the lowest;
            `active` moves current from the highest cell to the lowest.
        current_a: drawn from such a cell, A.
        start_spread_v: distance above the lowest cell at which it starts, V.
        start_v: cell voltage below which it rests, V.
        efficiency: of an active one: share of the current that arrives.
    """

    kind: Literal["passive", "active"] = field()
    current_a: float = field(validator=positive("A"))
    start_spread_v: float = field(default=0.01, validator=not_negative("V"))
    start_v: float = field(default=0.0, validator=not_negative("V"))
    efficiency: float = field(default=1.0, validator=number_within(0.0, 1.0, "(a fraction)"))

    @kind.validator
    def _known(self, _: object, value: str) -> None:
        if value not in ("passive", "active"):
            raise InputError(
                f"a balancer of kind {value!r}", column="kind", hint="passive or active"
            )


class Cells(NamedTuple):
    """The cells of a pack, each an array of shape (cells,)."""

    capacity_ah: Floats
    soc: Floats
    resistance_factor: Floats


@frozen
class Pack:
    """Cells in series.

    Attributes:
        cell: what they are alike in.
        count: how many.
        soc: mean starting SoC.
        spread: how they differ.
        odd_cells: cells that differ by more.
        own_consumption_a: what the pack's electronics draw from all its cells, A.
        balancer: None for none.
        inhibited: what its switch does when the controller inhibits: `open` disconnects the pack,
            `charge blocked` still lets it discharge.

    Raises:
        InputError: a value that no pack has.
    """

    cell: Cell
    count: int = field(default=16, validator=whole_within(1, 1000, "cells"))
    soc: float = field(default=0.5, validator=number_within(0.0, 1.0, "(a fraction)"))
    spread: Spread = Spread()
    odd_cells: tuple[OddCell, ...] = ()
    own_consumption_a: float = field(default=0.0, validator=not_negative("A"))
    balancer: Balancer | None = None
    inhibited: Literal["open", "charge blocked"] = field(default="open")

    @inhibited.validator
    def _known(self, _: object, value: str) -> None:
        if value not in ("open", "charge blocked"):
            raise InputError(
                f"a switch that is {value!r} when inhibited",
                column="inhibited",
                hint="open or charge blocked",
            )

    def __attrs_post_init__(self) -> None:
        for odd in self.odd_cells:
            if odd.number >= self.count:
                raise InputError(
                    f"odd cell number {odd.number} of a pack of {self.count} cells",
                    column="odd_cells",
                    hint=f"0 to {self.count - 1}",
                )

    @property
    def inhibited_switch(self) -> Switch:
        """What its switch does when the controller inhibits."""
        return Switch.OPEN if self.inhibited == "open" else Switch.CHARGE_BLOCKED

    def drawn(self) -> Cells:
        """The cells, drawn by the seed; starting SoC stays within 0 and 1."""
        draw = np.random.Generator(np.random.PCG64(self.spread.seed))
        deviations = draw.standard_normal((3, self.count))
        limit = FARTHEST_DEVIATIONS
        capacity, soc, resistance = np.clip(deviations, -limit, limit)
        capacity_ah = self.cell.capacity_ah * (1.0 + self.spread.capacity * capacity)
        start_soc = self.soc + self.spread.soc * soc
        factor = 1.0 + self.spread.resistance * resistance
        for odd in self.odd_cells:
            capacity_ah[odd.number] *= odd.capacity_factor
            start_soc[odd.number] += odd.soc_offset
            factor[odd.number] *= odd.resistance_factor
        return Cells(capacity_ah, np.clip(start_soc, 0.0, 1.0), factor)
