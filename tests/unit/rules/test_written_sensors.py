"""Each requirement of COMPENSATE on a run that keeps it and on one that breaks it, written by hand.

The voltages shift by -0.1 V a degree from 25 degrees on: at 15 degrees by 1 V, at 35 by -1 V. The
stage is bulk, which asks for 56 V. Samples are 1 s apart, and a timer may be off by one interval.
"""

from __future__ import annotations

from math import nan
from typing import Any

import numpy as np
import pytest

from ctrl.settings import Settings
from harness.rules.sensor import shifts_of
from tests.unit.rules.written_runs import verdict

COLD, WARM = 15.0, 35.0
LEAD_ACID: dict[str, Any] = {
    "compensation_v_per_c": -0.1,
    "charge_min_c": None,
    "charge_max_c": None,
}


def broken(temp_c: list[float], asked_v: list[float], **changes: Any) -> list[tuple[str, int]]:
    """Requirement and row of every finding."""
    size = len(temp_c)
    given: dict[str, Any] = {"readings": {"temp_c": temp_c}, "asked_v": dict(enumerate(asked_v))}
    said = verdict("b" * size, [54.0] * size, **{**LEAD_ACID, **given, **changes})
    return [(f.requirement, f.index) for f in said.findings]


def seen(temp_c: list[float], **changes: Any) -> dict[str, int]:
    """How often each requirement of the group is put to the test."""
    size = len(temp_c)
    given: dict[str, Any] = {"readings": {"temp_c": temp_c}}
    said = verdict("b" * size, [54.0] * size, **{**LEAD_ACID, **given, **changes})
    return {k: n for k, n in said.exercised.items() if k.startswith("COMPENSATE.")}


def test_before_the_first_reading_there_is_no_shift() -> None:
    temp_c = [nan, nan, COLD]
    assert broken(temp_c, [56.0, 56.0, 57.0]) == []
    assert seen(temp_c) == {"COMPENSATE.before-first": 2}
    # Memory cleared to zero: 25 degrees under the reference.
    assert broken(temp_c, [58.5, 58.5, 57.0]) == [
        ("REQUEST.never-above", 0),
        ("COMPENSATE.before-first", 0),
    ]
    assert broken(temp_c, [53.5, 56.0, 57.0]) == [("COMPENSATE.before-first", 0)]
    assert broken([COLD, nan], [57.0, 57.0], power_cycles=(1,)) == [
        ("REQUEST.never-above", 1),
        ("POWER.forgets", 1),
    ]


def test_the_shift_ends_at_its_bounds() -> None:
    bounds = {"compensation_min_c": 20.0, "compensation_max_c": 30.0}
    temp_c = [COLD, 22.0, WARM]
    assert broken(temp_c, [56.5, 56.3, 55.5], **bounds) == []
    assert seen(temp_c, **bounds) == {"COMPENSATE.bounded": 2}
    assert broken(temp_c, [57.0, 56.3, 55.5], **bounds) == [
        ("REQUEST.never-above", 0),
        ("COMPENSATE.bounded", 0),
    ]
    assert broken(temp_c, [56.5, 56.3, 55.0], **bounds) == [("COMPENSATE.bounded", 2)]
    # Not the bound, nor what there would be without it: that is the plain law.
    assert broken(temp_c, [56.5, 56.3, 55.2], **bounds) == [("REQUEST.compensated", 2)]


@pytest.mark.parametrize(
    ("asked_v", "findings"),
    [
        # Read at row 0, lost at row 3: an interval early or late is forgiven.
        ([57.0, 57.0, 57.0, 56.0, 56.0, 56.0], []),
        ([57.0, 57.0, 56.0, 56.0, 56.0, 56.0], []),
        ([57.0, 57.0, 57.0, 57.0, 56.0, 56.0], []),
        (
            [57.0, 57.0, 57.0, 57.0, 57.0, 56.0],
            [("REQUEST.never-above", 4), ("COMPENSATE.missing", 4)],
        ),
        ([57.0, 56.0, 56.0, 56.0, 56.0, 56.0], [("REQUEST.compensated", 1)]),
    ],
)
def test_a_sensor_that_is_lost_raises_nothing(
    asked_v: list[float], findings: list[tuple[str, int]]
) -> None:
    assert broken([COLD, *[nan] * 5], asked_v, sensor_lost_s=3.0) == findings


def test_a_sensor_that_is_lost_may_still_lower() -> None:
    temp_c = [WARM, *[nan] * 6]
    assert broken(temp_c, [55.0] * 7, sensor_lost_s=3.0) == []
    assert broken(temp_c, [*[55.0] * 5, 56.0, 56.0], sensor_lost_s=3.0) == [
        ("REQUEST.never-above", 5),
        ("REQUEST.compensated", 5),
    ]
    assert "COMPENSATE.missing" not in seen(temp_c, sensor_lost_s=3.0)


def test_a_sensor_that_is_frozen_raises_nothing_until_it_changes() -> None:
    temp_c = [COLD] * 7 + [14.0]
    frozen = {"sensor_frozen_s": 4.0, "sensor_lost_s": 60.0}
    right = [57.0] * 4 + [56.0] * 3 + [57.1]
    assert broken(temp_c, right, **frozen) == []
    assert seen(temp_c, **frozen, asked_v=dict(enumerate(right))) == {
        "COMPENSATE.frozen": 2,
        "COMPENSATE.found-again": 1,
    }
    assert broken(temp_c, [57.0] * 7 + [57.1], **frozen) == [
        ("REQUEST.never-above", 5),
        ("COMPENSATE.frozen", 5),
    ]
    assert broken(temp_c, [*right[:-1], 56.0], **frozen) == [("COMPENSATE.found-again", 7)]


def test_a_sensor_that_was_lost_is_found_again_by_a_reading() -> None:
    temp_c = [COLD, *[nan] * 5, COLD]
    right = [57.0] * 3 + [56.0] * 3 + [57.0]
    assert broken(temp_c, right, sensor_lost_s=3.0) == []
    assert broken(temp_c, [*right[:-1], 56.0], sensor_lost_s=3.0) == [("COMPENSATE.found-again", 6)]


def test_a_jump_is_not_believed_however_long_it_stays() -> None:
    temp_c = [20.0, 25.0, 4.0, 4.0, 4.0, 22.0]
    assert broken(temp_c, [56.5, 56.0, 56.0, 56.0, 56.0, 56.3], sensor_jump_c=5.0) == []
    assert seen(temp_c, sensor_jump_c=5.0) == {"COMPENSATE.jump": 3}
    found = broken(temp_c, [56.5, 56.0, 58.1, 58.1, 58.1, 56.3], sensor_jump_c=5.0)
    assert found == [("REQUEST.never-above", 2), ("COMPENSATE.jump", 2)]
    # Believed by staying.
    found = broken(temp_c, [56.5, 56.0, 56.0, 56.0, 58.1, 56.3], sensor_jump_c=5.0)
    assert found == [("REQUEST.never-above", 4), ("COMPENSATE.jump", 4)]


def test_readings_that_are_not_believed_do_not_keep_a_sensor_alive() -> None:
    temp_c = [COLD, *[40.0] * 5]
    checks = {"sensor_jump_c": 5.0, "sensor_lost_s": 3.0}
    assert broken(temp_c, [57.0] * 3 + [56.0] * 3, **checks) == []
    assert ("COMPENSATE.missing", 4) in broken(temp_c, [57.0] * 6, **checks)


def test_thresholds_follow_the_shift_that_is_right() -> None:
    # 57 V is the entry voltage while the shift is 1.2 V; the sensor is lost at row 3, and 55.9 V do.
    temp_c = [13.0, *[nan] * 9]
    v = [55.9] * 10
    stages = "bbb" + "bb" + "aaaaa"
    asked = {row: 57.2 if row < 3 else 56.0 for row in range(10)}
    checks = {**LEAD_ACID, "sensor_lost_s": 3.0, "readings": {"temp_c": temp_c}, "asked_v": asked}
    assert verdict(stages, v, **checks).findings == ()
    late = verdict("b" * 10, v, **checks).findings
    assert [(f.requirement, f.index) for f in late] == [("ENTRY.not-late", 7)]
    early = verdict("bb" + "a" * 8, v, hold_s=60.0, **checks).findings
    assert [(f.requirement, f.index) for f in early] == [("ENTRY.held-long-enough", 2)]


def test_what_has_elapsed_stays_when_a_stamp_steps_back() -> None:
    settings = Settings(**LEAD_ACID, sensor_lost_s=3.0)
    clock = np.array([0.0, 1.0, 1.0, 2.0, 3.0, 4.0])
    shifts = shifts_of(settings, clock, np.array([COLD, *[nan] * 5]), 0.0)
    assert shifts.right_v.tolist() == [1.0, 1.0, 1.0, 1.0, 0.0, 0.0]
    assert shifts.least_v.tolist() == [1.0, 1.0, 1.0, 0.0, 0.0, 0.0]
    assert shifts.most_v.tolist() == [1.0, 1.0, 1.0, 1.0, 1.0, 0.0]


def test_a_declared_tolerance_widens_what_is_right() -> None:
    settings = Settings(**LEAD_ACID, sensor_lost_s=3.0)
    shifts = shifts_of(settings, np.arange(7.0), np.array([COLD, *[nan] * 6]), 1.0)
    assert shifts.least_v.tolist() == [1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    assert shifts.most_v.tolist() == [1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0]
