"""A controller that follows the rules has no finding, whatever the settings and the trace.

The answers come from the reference and from the example in Python, which was written from the rules
alone. The traces stand on thresholds and on the ends of timers, where a check that is too
strict would show.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import harness
from ctrl.settings import Settings
from harness.attach import attach
from harness.attach.drive import drive
from harness.judge import judge
from harness.run import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Case, Trace
from tests.properties.generated import Walk, settings_of_any_kind, walks

EXAMPLE = Path(harness.__file__).parent / "examples" / "python" / "controller.py"


def case_of(settings: Settings, walk: Walk) -> Case:
    """The walk as a case; a column without any reading is left out."""
    names = REQUIRED_COLUMNS + OPTIONAL_COLUMNS
    columns = dict(zip(names, map(np.array, walk.columns(*names)), strict=True))
    for name in OPTIONAL_COLUMNS:
        if np.isnan(columns[name]).all():
            del columns[name]
    cycles = tuple(sorted(walk.power_cycles))
    return Case(
        "walk",
        settings,
        Trace(**columns),
        soc=walk.soc,
        power_cycles=cycles,
        equalise_requests=tuple(sorted(walk.requests)),
    )


@pytest.mark.parametrize("upkeep", [False, True])
@pytest.mark.parametrize("spec", ["ref", f"py:{EXAMPLE}:Controller"])
@given(data=st.data())
def test_a_controller_that_follows_the_rules_has_no_finding(
    spec: str, upkeep: bool, data: st.DataObject
) -> None:
    settings = data.draw(settings_of_any_kind(upkeep=upkeep))
    case = case_of(settings, data.draw(walks(settings)))
    with attach(spec) as controller:
        run = drive(controller, case)
    assert [(f.requirement, f.index, f.sentence) for f in judge(run).findings] == []
