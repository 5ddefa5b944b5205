"""A log of a lead-acid bank is fitted with lead-acid cells."""

from __future__ import annotations

import pytest

from ctrl.settings import Settings
from harness.explain.fitted import cell_for


@pytest.mark.parametrize("cells", [6, 12, 24])
@pytest.mark.parametrize("name", ["lead_flooded", "lead_agm", "lead_gel"])
def test_lead_acid_settings_are_fitted_with_cells_that_gas(name: str, cells: int) -> None:
    cell = cell_for(Settings.for_chemistry(name, cells, 100.0))
    assert cell.gassing is not None
    assert cell.curve.name == "lead-acid-sulzer-2019"


@pytest.mark.parametrize("name", ["lfp", "nmc"])
def test_all_others_are_not(name: str) -> None:
    cell = cell_for(Settings.for_chemistry(name, 8, 100.0))
    assert cell.gassing is None
    assert cell.curve.name == "lfp-naumann-2018"
