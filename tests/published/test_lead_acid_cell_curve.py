"""The open-circuit voltage of the lead-acid cell is what its published source says."""

from __future__ import annotations

import numpy as np
import pytest

from harness.world.curves import sulzer2019, sulzer2019_v

# Parameter set `Sulzer2019` of PyBaMM 26.10.1.1 (Sulzer, Chapman, Please, Howey, Monroe, J.
# Electrochem. Soc. 166(12) A2363, 2019, doi 10.1149/2.0301910jes; electrodes by Bode 1977), evaluated
# there: share of the acid of a full cell (5650 mol/m³), and the positive less the negative electrode.
EVALUATED = [
    (1.0, 1.757412407068498, -0.4076875986822905),
    (0.9, 1.7410520375729013, -0.39456698377986393),
    (0.75, 1.7174013774431995, -0.37518014647599207),
    (0.5, 1.6796387639093553, -0.34280451293155334),
    (0.3, 1.6494354721443725, -0.3150163516170961),
]
# There, too: what the acid in all its pores would do for, Ah, and the nominal capacity of the cell, Ah.
ACID_AH, NOMINAL_AH = 23.065563028414594, 17.0


@pytest.mark.parametrize(("acid", "positive_v", "negative_v"), EVALUATED)
def test_curve_is_both_electrodes_in_acid_that_is_used_up(
    acid: float, positive_v: float, negative_v: float
) -> None:
    soc = 1.0 - (1.0 - acid) * ACID_AH / NOMINAL_AH
    assert sulzer2019_v(np.array(soc)) == pytest.approx(positive_v - negative_v, abs=1e-9)
    assert sulzer2019().voltage_v(soc) == pytest.approx(positive_v - negative_v, abs=1e-6)


def test_nominal_capacity_leaves_a_quarter_of_the_acid() -> None:
    """Thicknesses and porosities of the set, its 8 plates of 65 by 114 mm, one electron a molecule."""
    pores_m = 0.0009 * 0.53 + 0.0015 * 0.92 + 0.00125 * 0.57
    acid_mol = 5650.0 * pores_m * 8 * 0.065 * 0.114
    assert acid_mol * 96485.33212 / 3600.0 == pytest.approx(ACID_AH, rel=1e-3)


def test_table_keeps_to_the_formula() -> None:
    soc = np.random.default_rng(1).uniform(0.0, 1.0, 20_000)
    assert np.max(np.abs(sulzer2019().voltage_v(soc) - sulzer2019_v(soc))) < 1e-9


def test_almost_a_straight_line_between_empty_and_full() -> None:
    soc = np.linspace(0.0, 1.0, 101)
    straight = np.polynomial.Polynomial.fit(soc, sulzer2019_v(soc), 1)(soc)
    assert np.max(np.abs(sulzer2019_v(soc) - straight)) < 0.012
