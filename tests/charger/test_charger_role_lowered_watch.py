"""A request that is lowered while the compensation is watched is no fall of the compensation."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ctrl.charger import ChargerSettings
from harness.charger.attach import attach_charger, drive_charger
from harness.charger.case import NO_STAGE, ChargerCase, ChargerTrace
from harness.charger.judge import judge_charger

QUICK = ChargerSettings(
    steady_s=0.0, sense_time_s=10.0, raise_v_per_s=5.0, raise_a_per_s=50.0, regulation_v=0.5
)
SECONDS = 60


def lowered_at(second: int) -> ChargerCase:
    """The packs lack volts throughout, and ask for 0.8 V less from one moment on."""
    t = np.arange(SECONDS, dtype=np.float64)
    later = t >= second
    columns: dict[str, Any] = {
        "request_v": np.where(later, 56.2, 57.0),
        "request_a": np.full(SECONDS, 50.0),
        "pack_v": np.full(SECONDS, 55.0),
        # It flickers, so that the reading is not frozen.
        "pack_a": 20.0 + 0.125 * (t % 2),
        "age_s": np.zeros(SECONDS),
    }
    tables = {name: values[:, np.newaxis] for name, values in columns.items()}
    # What it reads itself is where its set-point was before, and is.
    own_v = np.where(t > second, 56.25, 57.0)
    stage = np.full((SECONDS, 1), NO_STAGE, np.int8)
    trace = ChargerTrace(t, own_v, np.zeros(SECONDS), **tables, stage=stage)
    return ChargerCase("told/lowered", QUICK, trace)


@pytest.mark.parametrize("second", [3, 5, 12])
def test_the_reference_keeps_the_rules(second: int) -> None:
    verdict = judge_charger(drive_charger(attach_charger("ref"), lowered_at(second)))
    assert verdict.findings == ()
    assert verdict.exercised["SENSE.reaches"] > 0
