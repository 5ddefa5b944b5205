"""One cell: open-circuit voltage, series resistance, and up to two pairs of resistor and capacitor.

    voltage = open circuit(SoC) + hysteresis + current · series_ohm + pair voltages

A pair obeys `dv/dt = (R·i - v) / tau`. Over a step in which the current runs straight from `i0` to
`i1` this has the exact solution `v1 = a·v0 + start·i0 + end·i1` (`pair_coefficients`).
"""

from __future__ import annotations

from math import exp, expm1, log
from typing import Any

from attrs import field, frozen

from harness.errors import InputError
from harness.world.checks import number_within, positive
from harness.world.compiling import part
from harness.world.curves import Curve, naumann2018
from harness.world.gassing import Gassing
from harness.world.warmth import factor_at

HOURS_PER_MONTH = 730.5
# Resistance of a 3 Ah LFP cell at 10 and 40 degrees C over that at 25, the middle of the range over
# SoC: SimSES 1.3.12 resistance table (1.40-1.51 and 0.75-0.81).
PUBLISHED_AT_10_C, PUBLISHED_AT_40_C = 1.45, 0.78


@part
def pair_decay(tau_s: float, dt_s: float) -> tuple[float, float]:
    """What is left after a step of the voltage of a pair, and the mean of that within it; compiled."""
    return exp(-dt_s / tau_s), -expm1(-dt_s / tau_s) * tau_s / dt_s


@part
def pair_coefficients(ohm: float, tau_s: float, dt_s: float) -> tuple[float, float, float]:
    """Decay (1), and weights (Ω) of the current at the start and at the end of a step; compiled."""
    left, mean = pair_decay(tau_s, dt_s)
    return left, ohm * (mean - left), ohm * (1.0 - mean)


@frozen
class Pair:
    """A resistor and a capacitor side by side.

    Attributes:
        ohm: resistance, Ω.
        tau_s: time constant, s.
    """

    ohm: float = field(validator=positive("Ω"))
    tau_s: float = field(validator=positive("s"))


def _two_at_most(_: object, __: object, value: tuple[Pair, ...]) -> None:
    if len(value) > 2:
        raise InputError(f"{len(value)} pairs", column="pairs", hint="two pairs at most")


@frozen
class Cell:
    """A cell; resistances are those at 25 degrees C.

    Attributes:
        capacity_ah: usable capacity, Ah.
        series_ohm: what the voltage jumps by with the current, Ω.
        pairs: up to two pairs of resistor and capacitor.
        curve: open-circuit voltage over SoC.
        coulombic_efficiency: share of the charging current that raises the SoC.
        self_discharge_per_month: share of the capacity that is lost in 730.5 h, at any SoC.
        hysteresis_v: half the distance between the curves after long charge and after long
            discharge, V; 0 is none.
        hysteresis_rate: how fast the voltage goes from one to the other: e-folds per unit of SoC.
        factor_at_10_c: resistance at 10 degrees C over that at 25; 1 for none.
        factor_at_40_c: the same for 40 degrees C.
        gassing: of a lead-acid cell: how it gasses, and how its acceptance of charge falls; left out
            for none.

    Raises:
        InputError: a value that no cell has.
    """

    capacity_ah: float = field(validator=positive("Ah"))
    series_ohm: float = field(validator=positive("Ω"))
    pairs: tuple[Pair, ...] = field(default=(), validator=_two_at_most)
    curve: Curve = field(factory=naumann2018)
    coulombic_efficiency: float = field(
        default=1.0, validator=number_within(0.5, 1.0, "(a fraction)")
    )
    self_discharge_per_month: float = field(
        default=0.0, validator=number_within(0.0, 1.0, "(a fraction)")
    )
    hysteresis_v: float = field(default=0.0, validator=number_within(0.0, 0.2, "V"))
    hysteresis_rate: float = field(default=50.0, validator=positive("per unit of SoC"))
    factor_at_10_c: float = field(default=1.0, validator=number_within(0.2, 5.0, "(a ratio)"))
    factor_at_40_c: float = field(default=1.0, validator=number_within(0.2, 5.0, "(a ratio)"))
    gassing: Gassing | None = None

    def __attrs_post_init__(self) -> None:
        if self.gassing is None:
            return
        for name, value, plain in (
            ("coulombic_efficiency", self.coulombic_efficiency, 1.0),
            ("hysteresis_v", self.hysteresis_v, 0.0),
        ):
            if value != plain:
                raise InputError(
                    f"{name} is {value!r} in a cell that gasses",
                    column=name,
                    hint=f"{plain:g}: gassing says what is lost",
                )

    @property
    def leak_per_s(self) -> float:
        """Self-discharge as a share of the capacity per second."""
        return self.self_discharge_per_month / (HOURS_PER_MONTH * 3600.0)

    def resistance_factor(self, temp_c: float) -> float:
        """All resistances at a temperature over those at 25 degrees C.

        Through the two given ratios, their logarithm as a parabola of temperature; below 10 and
        above 40 degrees C on along its tangents there, so that warmth never makes it rise again.
        """
        plain: Any = factor_at
        return float(plain.py_func(*self.resistance_logs, temp_c))

    @property
    def resistance_logs(self) -> tuple[float, float]:
        """Logarithms of the two given ratios, as `harness.world.warmth` takes them."""
        return log(self.factor_at_10_c), log(self.factor_at_40_c)
