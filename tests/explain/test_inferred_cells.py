"""How many cells a pack has is read off a log only where the log, or a person, tells the chemistry."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ctrl.chemistry import CHEMISTRIES
from harness.explain.inferred import MIDDLE_CELL_V, inferred, missing
from harness.logs.log import PackLog
from harness.run import Trace


def pack(pack_v: float, cell_v: float | None = None) -> PackLog:
    some = np.full(10, pack_v)
    cell_max_v = None if cell_v is None else np.full(10, cell_v)
    return PackLog("pier", Path("pier.csv"), Trace(np.arange(10.0), some, some, cell_max_v))


def test_the_voltage_of_a_pack_alone_tells_no_number_of_cells() -> None:
    found = inferred(pack(51.2))
    assert "cells" not in found
    assert "cells" in missing(found, {})


@pytest.mark.parametrize(
    ("chemistry", "cells"), [("lfp", 16), ("lead_flooded", 24), ("lead_agm", 24), ("nmc", 14)]
)
def test_with_the_chemistry_it_does(chemistry: str, cells: int) -> None:
    assert inferred(pack(51.2), chemistry)["cells"].value == cells


@pytest.mark.parametrize(("cell_v", "cells"), [(3.2, 16), (2.14, 24)])
def test_a_cell_in_the_log_tells_it(cell_v: float, cells: int) -> None:
    found = inferred(pack(51.2, cell_v))["cells"]
    assert found.value == cells
    assert found.sure


def test_every_chemistry_has_a_voltage() -> None:
    assert set(MIDDLE_CELL_V) == set(CHEMISTRIES)
