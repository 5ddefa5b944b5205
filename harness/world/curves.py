"""Open-circuit voltage of one cell over its state of charge (SoC), with its slope.

A curve is kept as a dense table of cubics, so that every chemistry costs the same and voltage and
slope belong together. Between 0 and 1 the table is the published formula (for `naumann2018` within
0.2 µV); below 0 and above 1 it goes on along a straight line, as steep as where it ends, so that an
overcharged cell resists and one that is driven below empty collapses.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from types import MappingProxyType

import numpy as np
import numpy.typing as npt
from attrs import field, frozen

from harness.world.compiling import part

Floats = npt.NDArray[np.float64]
Formula = Callable[[Floats], Floats]

# Both ends lie on knots of the table, as 0 and 1 do.
KNOTS_PER_SOC = 4096.0
LOWEST_SOC = -0.0625
HIGHEST_SOC = 1.125


@part
def place_of(soc: float) -> float:
    """Where a state of charge lies among the knots of a table; compiled."""
    return (soc - LOWEST_SOC) * KNOTS_PER_SOC


@part
def on_cubic(c0: float, c1: float, c2: float, c3: float, x: float) -> tuple[float, float]:
    """Voltage (V) and slope (V per unit of SoC) on the cubic between two knots, at `x`; compiled."""
    # Two halves that need not wait for each other.
    return (
        (c0 + x * c1) + x * x * (c2 + x * c3),
        ((c1 + x * (2.0 * c2)) + x * x * (3.0 * c3)) * KNOTS_PER_SOC,
    )


@part
def open_circuit(table: Floats, soc: float) -> tuple[float, float]:
    """Voltage (V) and slope (V per unit of SoC) out of the table of a curve; compiled."""
    place = place_of(soc)
    k = min(max(int(place), 0), len(table) // 4 - 1)
    return on_cubic(table[4 * k], table[4 * k + 1], table[4 * k + 2], table[4 * k + 3], place - k)


@frozen(eq=False)
class Curve:
    """An open-circuit voltage curve.

    Attributes:
        name: how scenarios call it.
        source: where it was published, or that it was not.
        table: cubic coefficients of one cell, V; shape (intervals, 4), from `LOWEST_SOC` up.
    """

    name: str
    source: str
    table: Floats = field(repr=False)

    @classmethod
    def of(cls, name: str, source: str, voltage: Formula, slope: Formula) -> Curve:
        """Tabulate a formula.

        Args:
            name: how it is called.
            source: where it comes from.
            voltage: open-circuit voltage of one cell, V, of an array of SoC from 0 to 1.
            slope: its derivative, V per unit of SoC.
        """
        count = round((HIGHEST_SOC - LOWEST_SOC) * KNOTS_PER_SOC)
        soc = LOWEST_SOC + np.arange(count + 1) / KNOTS_PER_SOC
        inside = np.clip(soc, 0.0, 1.0)
        steep = slope(inside)
        v = voltage(inside) + (soc - inside) * steep
        rise = steep / KNOTS_PER_SOC
        step, left, right = np.diff(v), rise[:-1], rise[1:]
        columns = (v[:-1], left, 3.0 * step - 2.0 * left - right, left + right - 2.0 * step)
        return cls(name, source, np.ascontiguousarray(np.stack(columns, axis=1)))

    def voltage_v(self, soc: npt.ArrayLike) -> Floats:
        """Open-circuit voltage of one cell, V, in the shape of `soc`."""
        k, x = self._place(soc)
        c0, c1, c2, c3 = np.moveaxis(self.table[k], -1, 0)
        voltage: Floats = (c0 + x * c1) + x * x * (c2 + x * c3)
        return voltage

    def slope_v(self, soc: npt.ArrayLike) -> Floats:
        """Slope, V per unit of SoC, in the shape of `soc`."""
        k, x = self._place(soc)
        _, c1, c2, c3 = np.moveaxis(self.table[k], -1, 0)
        slope: Floats = ((c1 + x * (2.0 * c2)) + x * x * (3.0 * c3)) * KNOTS_PER_SOC
        return slope

    def _place(self, soc: npt.ArrayLike) -> tuple[npt.NDArray[np.intp], Floats]:
        place = (np.asarray(soc, dtype=np.float64) - LOWEST_SOC) * KNOTS_PER_SOC
        k = np.clip(place.astype(np.intp), 0, len(self.table) - 1)
        return k, place - k


# Naumann's formula is a sum of steps a / (1 + e^(b (soc - c))), a constant and a straight line.
_NAUMANN_STEPS = (
    (-3.3160, -116.2064, -0.1572),
    (4.9996, -22.4512, -0.0944),
    (-0.4574, 358.9072, 1.0),
    (-1.3646, 499.9994, 0.0),
)
_NAUMANN_REST_V, _NAUMANN_SLOPE_V = 2.0020, 0.1251


def _falling(b: float, c: float, soc: Floats) -> Floats:
    """1 / (1 + e^(b (soc - c))), without overflow."""
    falling: Floats = 0.5 - 0.5 * np.tanh(0.5 * b * (soc - c))
    return falling


def naumann2018_v(soc: Floats) -> Floats:
    """The formula behind `naumann2018`, V, for an array of SoC."""
    steps = sum(a * _falling(b, c, soc) for a, b, c in _NAUMANN_STEPS)
    return _NAUMANN_REST_V + _NAUMANN_SLOPE_V * soc + steps


def _naumann2018_slope(soc: Floats) -> Floats:
    slope = np.full_like(soc, _NAUMANN_SLOPE_V)
    for a, b, c in _NAUMANN_STEPS:
        share = _falling(b, c, soc)
        slope -= a * b * share * (1.0 - share)
    return slope


@cache
def naumann2018() -> Curve:
    """LFP/graphite cell of 3 Ah; its plateau rises by 0.125 V from empty to full."""
    return Curve.of(
        "lfp-naumann-2018",
        "Naumann, PhD thesis, TU München 2018, as coded in SimSES 1.3.12",
        naumann2018_v,
        _naumann2018_slope,
    )


def prada2013_positive_v(stoichiometry: Floats) -> Floats:
    """Potential of the positive LFP electrode of a 2.3 Ah cell against lithium, V.

    Source: parameter set `Prada2013` of PyBaMM 26.10 (Prada et al., J. Electrochem. Soc. 160(4)
    A616, 2013; the formula from Afshar et al., arXiv:1709.03970). It is one electrode, not a cell.
    """
    x = np.asarray(stoichiometry, dtype=np.float64)
    ends: Floats = 0.5 * np.exp(-150.0 * x) - 0.9 * np.exp(-30.0 * (1.0 - x))
    return 3.4077 - 0.020269 * x + ends


_LEAD_FULL_V, _LEAD_SLOPE_V = 2.085, 0.12
_LEAD_RISE_V, _LEAD_RISE_SOC = 0.5, 0.008


def _lead_acid_v(soc: Floats) -> Floats:
    rise: Floats = _LEAD_RISE_V * np.exp((soc - 1.0) / _LEAD_RISE_SOC)
    return _LEAD_FULL_V - _LEAD_SLOPE_V * (1.0 - soc) + rise


def _lead_acid_slope(soc: Floats) -> Floats:
    rise: Floats = _LEAD_RISE_V / _LEAD_RISE_SOC * np.exp((soc - 1.0) / _LEAD_RISE_SOC)
    return _LEAD_SLOPE_V + rise


@cache
def lead_acid() -> Curve:
    """Flooded lead-acid cell: a straight line, and a rise close to full.

    The rise stands for gassing and the falling acceptance of charge: with a straight line alone a
    cell under constant voltage would go on charging past full.
    """
    return Curve.of(
        "lead-acid",
        "line: Copetti et al., Prog. Photovoltaics 1, 1993, from memory; "
        "rise close to full: common practice, no source",
        _lead_acid_v,
        _lead_acid_slope,
    )


# Of the cell of Sulzer 2019, as parameter set `Sulzer2019` of PyBaMM 26.10 has it: acid of a full
# cell (mol/m³), molar volumes of acid and water (m³/mol), molar mass of water (kg/mol), and which
# share of its acid the cell of 17 Ah turns over: 17 Ah of the 23.0656 Ah that the acid would do for.
_ACID_FULL, _ACID_VOLUME, _WATER_VOLUME, _WATER_MASS = 5650.0, 4.5e-5, 1.75e-5, 0.01801
_ACID_SHARE = 17.0 / 23.065563028414594
# Both electrodes by Bode, Lead-Acid Batteries, 1977, in powers of log10 of the molality, V.
_BODE_POSITIVE_V = (1.628, 0.074, 0.033, 0.043, 0.022)
_BODE_NEGATIVE_V = (-0.294, -0.074, -0.030, -0.031, -0.012)


def _sulzer2019_acid(soc: Floats) -> Floats:
    """Concentration of the acid, mol/m³: it falls in proportion to the charge taken out."""
    acid: Floats = _ACID_FULL * (1.0 - _ACID_SHARE * (1.0 - soc))
    return acid


def _sulzer2019_log(acid: Floats) -> Floats:
    """Logarithm (base 10) of the molality, mol/kg, of acid of this concentration, mol/m³."""
    molality = acid * _WATER_VOLUME / ((1.0 - acid * _ACID_VOLUME) * _WATER_MASS)
    log: Floats = np.log10(molality)
    return log


def sulzer2019_v(soc: Floats) -> Floats:
    """The formula behind `sulzer2019`, V, for an array of SoC."""
    log = _sulzer2019_log(_sulzer2019_acid(soc))
    cell_v = np.subtract(_BODE_POSITIVE_V, _BODE_NEGATIVE_V)
    return np.asarray(np.polynomial.polynomial.polyval(log, cell_v), dtype=np.float64)


def _sulzer2019_slope(soc: Floats) -> Floats:
    acid = _sulzer2019_acid(soc)
    cell_v = np.subtract(_BODE_POSITIVE_V, _BODE_NEGATIVE_V)
    per_log = np.polynomial.polynomial.polyval(
        _sulzer2019_log(acid), np.polynomial.polynomial.polyder(cell_v)
    )
    log_per_acid = 1.0 / (np.log(10.0) * acid * (1.0 - acid * _ACID_VOLUME))
    slope: Floats = per_log * log_per_acid * _ACID_FULL * _ACID_SHARE
    return slope


@cache
def sulzer2019() -> Curve:
    """Lead-acid cell: what both electrodes do with acid that is used up as the cell is emptied.

    It has no rise close to full: that comes of gassing (`harness.world.gassing`).
    """
    return Curve.of(
        "lead-acid-sulzer-2019",
        "Sulzer, Chapman, Please, Howey, Monroe, J. Electrochem. Soc. 166(12) A2363, 2019, "
        "as coded in PyBaMM 26.10; electrodes by Bode 1977",
        sulzer2019_v,
        _sulzer2019_slope,
    )


def affine(empty_v: float, slope_v: float) -> Curve:
    """A straight line, V and V per unit of SoC of one cell: what closed forms are made for."""
    return Curve.of(
        "affine",
        "a straight line",
        lambda soc: empty_v + slope_v * soc,
        lambda soc: np.full_like(soc, slope_v),
    )


CURVES: Mapping[str, Callable[[], Curve]] = MappingProxyType(
    {
        "lfp-naumann-2018": naumann2018,
        "lead-acid": lead_acid,
        "lead-acid-sulzer-2019": sulzer2019,
    }
)
