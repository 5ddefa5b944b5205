"""What a reader has to know who might act on a verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ctrl.chemistry import GAS

if TYPE_CHECKING:
    from harness.world.bank import World

CAUTION = (
    "Conforming to these rules is no certificate of safety: the cell maker's limits, local codes "
    "and licensed practice come first."
)


def cautions_of(world: World) -> tuple[str, ...]:
    """What must be said beside a simulated bank: that it gasses too, where it does."""
    gasses = any(branch.pack.cell.gassing is not None for branch in world.packs)
    return (CAUTION, GAS) if gasses else (CAUTION,)
