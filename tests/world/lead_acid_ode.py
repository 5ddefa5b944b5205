"""One lead-acid cell for a general solver: what the plant is compared with.

Written from the circuit alone, with nothing of the package in it but numbers.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

Floats = npt.NDArray[np.float64]


def open_v(soc: float) -> float:
    """Bode's electrodes in the acid of the cell of Sulzer 2019, V."""
    acid = 5650.0 * (1.0 - 17.0 / 23.065563028414594 * (1.0 - soc))
    log = np.log10(acid * 1.75e-5 / ((1.0 - acid * 4.5e-5) * 0.01801))
    positive = 1.628 + 0.074 * log + 0.033 * log**2 + 0.043 * log**3 + 0.022 * log**4
    negative = -0.294 - 0.074 * log - 0.030 * log**2 - 0.031 * log**3 - 0.012 * log**4
    return float(positive - negative)


class OneCell(NamedTuple):
    """A cell; `y` of it: state of charge, the voltages of its pairs (V), charge turned to gas (Ah)."""

    capacity_ah: float
    series_ohm: float
    pair_ohm: tuple[float, float]
    pair_s: tuple[float, float]
    gas_a: float
    at_v: float
    per_v: float
    charging_ohm: float

    def node(self, y: Floats, main_a: float) -> float:
        """Voltage behind the series resistance, V."""
        against_ohm = self.charging_ohm * y[0] / (1.0 - y[0])
        return float(open_v(y[0]) + y[1] + y[2] + against_ohm * max(main_a, 0.0))

    def gassing(self, node_v: float) -> float:
        """Current that gasses, A."""
        return float(self.gas_a * np.exp(min(self.per_v * (node_v - self.at_v), 200.0)))

    def flows(self, y: Floats, current_of: Callable[[float], float]) -> tuple[float, float, float]:
        """What charges and what gasses, A, and the voltage of the cell, V."""

        def over(main_a: float) -> float:
            node_v = self.node(y, main_a)
            return main_a + self.gassing(node_v) - current_of(node_v)

        main_a = float(brentq(over, -100.0, 200.0, xtol=1e-13, rtol=1e-14))
        node_v = self.node(y, main_a)
        gassing_a = self.gassing(node_v)
        return main_a, gassing_a, node_v + self.series_ohm * (main_a + gassing_a)

    def after(self, y: Floats, seconds: float, current_of: Callable[[float], float]) -> Floats:
        """The cell so much later."""

        def slopes(_: float, at: Floats) -> list[float]:
            main_a, gassing_a, _ = self.flows(at, current_of)
            (ohm_1, ohm_2), (tau_1, tau_2) = self.pair_ohm, self.pair_s
            return [
                main_a / (3600.0 * self.capacity_ah),
                (ohm_1 * main_a - at[1]) / tau_1,
                (ohm_2 * main_a - at[2]) / tau_2,
                gassing_a / 3600.0,
            ]

        found = solve_ivp(slopes, (0.0, seconds), y, method="DOP853", rtol=1e-9, atol=1e-11)
        assert found.success, found.message
        end: Floats = found.y[:, -1]
        return end
