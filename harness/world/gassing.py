"""What a lead-acid cell does close to full: it gasses, and takes ever less charge.

Two things that go together. Current at the inner voltage of a cell splits water instead of charging
it, e-fold by e-fold with voltage and warmth (Tafel's law; the branch beside the main one is that of
Ceraolo, IEEE Trans. Power Systems 15(4), 2000):

    I_gas = I_0 · exp(per_v · (V - at_v) + per_k · (T - 25 °C))

And a resistance against charging, in the main branch, grows as little is left to be charged
(Shepherd, J. Electrochem. Soc. 112, 1965, from memory):

    R_charging = charging_ohm_ah / capacity · SoC / (end_soc - SoC)      0 while discharging
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from attrs import field, frozen

from harness.world.checks import number_within, positive
from harness.world.rows import Floats

REFERENCE_C = 25.0


@frozen
class Gassing:
    """How a cell gasses, and how its acceptance of charge falls.

    What is left out is as in Schiffer et al., J. Power Sources 168, 2007, for a flooded cell, from
    memory: check it before anything rests on it. Two numbers are not theirs: the current is half of
    their 20 mA, so that a full cell at rest at 25 degrees C loses some 3 % a month (common practice,
    no source), and the resistance is without end at 1 instead of 1.001.

    Attributes:
        ma_per_100ah: current that gasses at `at_v` and 25 degrees C, mA per 100 Ah of capacity. A
            cell at rest loses it, too: it is the self-discharge.
        at_v: voltage of a cell, less what its series resistance takes, V.
        per_v: e-folds of that current per V.
        per_k: e-folds of it per K; 0.06 to 0.07 doubles it in 10 to 12 K.
        charging_ohm_ah: resistance against charging at half of `end_soc` times the capacity, Ω Ah.
        end_soc: state of charge at which that resistance would be without end.

    Raises:
        InputError: a value that no cell has.
    """

    ma_per_100ah: float = field(default=10.0, validator=number_within(0.01, 10_000.0, "mA"))
    at_v: float = field(default=2.23, validator=positive("V"))
    per_v: float = field(default=11.0, validator=number_within(1.0, 100.0, "per V"))
    per_k: float = field(default=0.06, validator=number_within(0.0, 0.2, "per K"))
    charging_ohm_ah: float = field(default=0.373, validator=number_within(0.0, 10.0, "Ω Ah"))
    end_soc: float = field(default=1.0, validator=number_within(1.0, 1.05, "(a fraction)"))

    def current_a(self, capacity_ah: float, node_v: Floats, temp_c: Floats) -> Floats:
        """Current that gasses, A.

        Args:
            capacity_ah: of the cell, Ah.
            node_v: its voltage less what its series resistance takes, V.
            temp_c: its temperature, degrees C; of the same shape, as what is returned.
        """
        folds = self.per_v * (np.asarray(node_v) - self.at_v)
        grown: Floats = 1e-5 * self.ma_per_100ah * capacity_ah * np.exp(folds)
        return grown * self.warmth_factor(temp_c)

    def warmth_factor(self, temp_c: Floats) -> Floats:
        """What warmth makes of that current, over that at 25 degrees C."""
        factor: Floats = np.exp(self.per_k * (np.asarray(temp_c) - REFERENCE_C))
        return factor


def gas_course(
    gassing: Sequence[Gassing | None], air_c: Floats, warmer_c: Sequence[float] | Floats
) -> Floats:
    """What the warmth of packs makes of their gassing.

    Args:
        gassing: of the cells of each pack.
        air_c: temperatures of the air, degrees C; shape (intervals,).
        warmer_c: how much warmer than the air each pack is, K.

    Returns:
        Shape (intervals, packs); (0, 0) where no pack gasses.
    """
    columns = [
        one.warmth_factor(air_c + warmer)
        for one, warmer in zip(gassing, warmer_c, strict=True)
        if one is not None
    ]
    return np.ascontiguousarray(np.stack(columns, axis=1)) if columns else np.empty((0, 0))
