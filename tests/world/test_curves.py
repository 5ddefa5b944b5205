"""Open-circuit voltage curves against the numbers of their sources."""

from __future__ import annotations

import numpy as np
import pytest

from harness.world.cell import Cell
from harness.world.curves import (
    CURVES,
    affine,
    lead_acid,
    naumann2018,
    naumann2018_v,
    open_circuit,
    prada2013_positive_v,
)


@pytest.mark.parametrize(
    ("soc", "volts"),
    [
        (0.1, 3.1779), (0.2, 3.2465), (0.5, 3.2907), (0.8, 3.3283),
        (0.9, 3.3408), (0.98, 3.3511), (0.99, 3.3643), (1.0, 3.5820),
    ],
)  # fmt: skip
def test_naumann_curve(soc: float, volts: float) -> None:
    """Naumann, PhD thesis, TU München 2018, as coded in SimSES 1.3.12: ±0.1 mV."""
    assert naumann2018().voltage_v(soc) == pytest.approx(volts, abs=1e-4)


def test_naumann_plateau_rises_by_an_eighth_of_a_volt() -> None:
    """From the same formula: 0.125 V per unit of SoC in the middle."""
    assert naumann2018().slope_v(0.5) == pytest.approx(0.1251, abs=2e-3)


def test_table_keeps_to_the_formula() -> None:
    soc = np.random.default_rng(1).uniform(0.0, 1.0, 200_000)
    assert np.max(np.abs(naumann2018().voltage_v(soc) - naumann2018_v(soc))) < 2e-7


def test_slope_is_the_derivative() -> None:
    soc = np.linspace(0.001, 0.999, 5001)
    for make in CURVES.values():
        curve, step = make(), 1e-7
        rise = (curve.voltage_v(soc + step) - curve.voltage_v(soc - step)) / (2.0 * step)
        assert curve.slope_v(soc) == pytest.approx(rise, rel=1e-4, abs=1e-4)


@pytest.mark.parametrize(
    ("stoichiometry", "volts"),
    [
        (0.02, 3.432188154183778), (0.1, 3.4056732529494687), (0.5, 3.397565224687912),
        (0.9, 3.3446495384689223), (0.97, 3.0221263762334614),
    ],
)  # fmt: skip
def test_prada_positive_electrode(stoichiometry: float, volts: float) -> None:
    """Parameter set `Prada2013` of PyBaMM 26.10.1, evaluated there; doi 10.1149/2.053304jes."""
    assert prada2013_positive_v(np.array(stoichiometry)) == pytest.approx(volts, abs=1e-12)


def test_beyond_full_and_empty_it_goes_on_as_steep_as_it_ended() -> None:
    curve = naumann2018()
    assert curve.slope_v([1.0, 1.05, 1.12]) == pytest.approx([curve.slope_v(1.0)] * 3, rel=1e-9)
    assert curve.voltage_v(1.01) - curve.voltage_v(1.0) == pytest.approx(0.4117, abs=1e-3)
    assert curve.voltage_v(-0.01) < 0.5


def test_every_curve_rises_all_the_way() -> None:
    for make in CURVES.values():
        assert np.all(make().slope_v(np.linspace(-0.06, 1.12, 4001)) > 0.0)
        assert make().name in CURVES


def test_lead_acid_line() -> None:
    """Copetti's line: from memory, so this checks the code against itself, not against a source."""
    assert lead_acid().voltage_v(0.5) == pytest.approx(2.025, abs=1e-9)
    assert lead_acid().voltage_v(1.0) == pytest.approx(2.585, abs=1e-9)


def test_a_straight_line_is_exact() -> None:
    curve = affine(52.0, 2.0)
    assert curve.voltage_v([0.0, 0.123456, 1.0]) == pytest.approx(
        [52.0, 52.246912, 54.0], abs=1e-12
    )
    assert curve.slope_v([0.0, 0.9]) == pytest.approx([2.0, 2.0], abs=1e-9)


def test_compiled_look_up_gives_the_same_bits() -> None:
    curve = naumann2018()
    for soc in np.linspace(-0.05, 1.1, 201):
        volts, slope = open_circuit(curve.table.ravel(), soc)
        assert volts == float(curve.voltage_v(soc))
        assert slope == float(curve.slope_v(soc))


@pytest.mark.parametrize(("temp_c", "factor"), [(10.0, 1.45), (25.0, 1.0), (40.0, 0.78)])
def test_cold_makes_resistance(temp_c: float, factor: float) -> None:
    """SimSES 1.3.12 resistance table: 10/25 °C = 1.40-1.51, 40/25 °C = 0.75-0.81; their middle."""
    cell = Cell(100.0, 1e-3, factor_at_10_c=1.45, factor_at_40_c=0.78)
    assert cell.resistance_factor(temp_c) == pytest.approx(factor, abs=1e-12)


def test_warmth_never_makes_resistance() -> None:
    cell = Cell(100.0, 1e-3, factor_at_10_c=1.45, factor_at_40_c=0.78)
    factors = [cell.resistance_factor(temp) for temp in np.linspace(-40.0, 80.0, 241)]
    assert np.all(np.diff(factors) < 0.0)
    assert Cell(100.0, 1e-3).resistance_factor(-20.0) == 1.0
