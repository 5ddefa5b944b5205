"""A charger, a line, and packs that are sources behind resistances: what each of them reads.

Enough for a charger to learn by what it gives; the simulated bank of `harness.world` is for whoever
wants cells.
"""

from __future__ import annotations

from attrs import frozen


@frozen
class Branch:
    """One pack and its cable.

    Attributes:
        source_v: voltage of the pack without current, V.
        pack_ohm: resistance of the pack, ohm; greater than 0.
        cable_ohm: resistance of its cable, ohm.
        meter_v: by how much its meter reads too high, V.
    """

    source_v: float
    pack_ohm: float
    cable_ohm: float
    meter_v: float = 0.0

    def current_a(self, terminals_v: float) -> float:
        """The current that flows into it from the terminals of the charger, A."""
        return (terminals_v - self.source_v) / (self.pack_ohm + self.cable_ohm)

    def reads_v(self, current_a: float) -> float:
        """What its meter reads at a current, V."""
        return self.source_v + self.pack_ohm * current_a + self.meter_v


def terminals(branches: tuple[Branch, ...], set_v: float, limit_a: float) -> tuple[float, float]:
    """Voltage (V) and current (A) at the charger's own terminals.

    Args:
        branches: the packs, one at least.
        set_v: set-point, V.
        limit_a: what it can give at the most, A; never less than 0.
    """
    conductance = sum(1.0 / (b.pack_ohm + b.cable_ohm) for b in branches)
    at_rest_v = sum(b.source_v / (b.pack_ohm + b.cable_ohm) for b in branches) / conductance
    wanted_a = (set_v - at_rest_v) * conductance
    given_a = min(max(wanted_a, 0.0), max(limit_a, 0.0))
    return at_rest_v + given_a / conductance, given_a
