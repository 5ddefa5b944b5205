"""COMPENSATE: what a sensor that cannot be believed may do to the voltages."""

from __future__ import annotations

from harness.rules.request import (
    BEFORE_FIRST,
    BOUNDED,
    FOUND_AGAIN,
    FROZEN,
    JUMP,
    MISSING,
    requests,
)
from harness.rules.requirement import Requirement

_CHECKED = frozenset({"requests", "compensation", "sensor_checks"})

REQUIREMENTS = (
    Requirement(
        id=BEFORE_FIRST,
        title="no shift before the first reading",
        statement="Before the first `temp_c` of a valid sample since power-up the voltages asked for are "
        "not shifted.",
        reason="Memory that is cleared to zero passes for a frost, and a frost raises the voltage.",
        check=requests,
        features={"requests", "compensation"},
    ),
    Requirement(
        id=BOUNDED,
        title="the shift ends at its bounds",
        statement="A temperature below `compensation_min_c` shifts the voltages asked for as that one "
        "does, and one above `compensation_max_c` as that one.",
        reason="The straight line is true for a part of the scale; beyond it loads are harmed by the "
        "voltage, or the battery is never charged.",
        check=requests,
        features={"requests", "compensation", "compensation_limits"},
    ),
    Requirement(
        id=MISSING,
        title="a sensor that is lost raises nothing",
        statement="When no reading has been believed for `sensor_lost_s`, the last believed one no longer "
        "raises the voltages asked for; it may still lower them.",
        reason="The last reading was taken on a cold morning; the battery is warm by noon.",
        check=requests,
        features=_CHECKED,
    ),
    Requirement(
        id=FROZEN,
        title="a sensor that is frozen raises nothing",
        statement="When the believed reading has not changed for `sensor_frozen_s`, it no longer raises the "
        "voltages asked for; it may still lower them.",
        reason="A broken converter repeats its last number for ever.",
        check=requests,
        features=_CHECKED,
    ),
    Requirement(
        id=JUMP,
        title="a jump is not believed",
        statement="A reading further than `sensor_jump_c` from the last believed one does not shift the "
        "voltages asked for, however often it is repeated.",
        reason="A battery is heavy and warms slowly; a wire that comes off is quick.",
        check=requests,
        features=_CHECKED,
    ),
    Requirement(
        id=FOUND_AGAIN,
        title="a sensor that is found again counts again",
        statement="At the next reading that is believed a sensor that was lost shifts the voltages asked for "
        "as before; one that was frozen does so at the next that has changed.",
        reason="A plug that was put back must not leave the battery undercharged for the winter.",
        check=requests,
        features=_CHECKED,
    ),
)
