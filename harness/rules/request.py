"""REQUEST: what is asked of the charger."""

from __future__ import annotations

import numpy as np

from ctrl.vocabulary import Stage
from harness.rules.count import BLOCK
from harness.rules.life import Life
from harness.rules.requirement import Marks, Requirement
from harness.run import Floats

VOLTAGE = "REQUEST.voltage"
CURRENT = "REQUEST.current"
NEVER_ABOVE = "REQUEST.never-above"
COMPENSATED = "REQUEST.compensated"
FORGETS = "POWER.forgets"
# A request is read by a charger to the millivolt, or more coarsely.
REQUEST_SLACK = 1e-3


def _row_shift_v(life: Life) -> Floats | None:
    """The shift in force at each row, V: that of the last valid sample; None where it is always 0."""
    if life.shift_v is None or life.valid_rows is None:
        return life.shift_v
    latest = np.searchsorted(life.valid_rows, np.arange(len(life.row_stage)), side="right") - 1
    if not len(life.shift_v):
        return None
    return np.where(latest >= 0, life.shift_v[latest], 0.0)


def requests(life: Life, marks: Marks) -> None:
    """Compare what was asked for with the stage; of each requirement the first row is told."""
    s = life.settings
    stage = life.row_stage
    shift_v = _row_shift_v(life)
    by_stage_v = np.array([s.absorption_v, s.absorption_v, s.float_v, s.float_v])
    by_stage_a = np.array([s.charge_current_a] * 3 + [0.0])
    told: set[str] = set()

    def tell(requirement: str, row: int, asked: float, right: float, unit: str) -> None:
        if requirement in told:
            return
        told.add(requirement)
        what = "voltage" if unit == "V" else "current"
        marks.broken(
            requirement,
            life,
            row,
            observed=f"{asked:.4f} {unit} in {Stage(stage[row]).word}",
            expected=f"{right:.4f} {unit}",
            margin=abs(asked - right) * (1000.0 if unit == "V" else 1.0),
            unit="mV" if unit == "V" else "A",
            sentence=(
                f"the {what} asked for in {Stage(stage[row]).word} is {asked:.4f} {unit}, "
                f"not {right:.4f} {unit}"
            ),
        )

    for first in range(0, len(stage), BLOCK):
        part = slice(first, first + BLOCK)
        index = stage[part]
        if life.row_voltage_request_v is not None:
            asked_v = life.row_voltage_request_v[part]
            right_v = by_stage_v[index]
            if shift_v is not None:
                right_v = right_v + shift_v[part]
                moved = shift_v[part] != 0.0
                marks.seen(COMPENSATED, int(np.count_nonzero(moved)))
            marks.seen(VOLTAGE, len(index))
            marks.seen(NEVER_ABOVE, len(index))
            for j in np.flatnonzero(~(np.abs(asked_v - right_v) <= REQUEST_SLACK)).tolist():
                shift = 0.0 if shift_v is None else float(shift_v[first + j])
                asked, right = float(asked_v[j]), float(right_v[j])
                if asked > s.absorption_v + shift + REQUEST_SLACK:
                    tell(NEVER_ABOVE, first + j, asked, s.absorption_v + shift, "V")
                # A voltage that belongs to no stage has been shifted where nothing is to shift it.
                shifted = s.compensation_v_per_c != 0.0 and asked not in by_stage_v
                if shift != 0.0 or (shifted and not life.after_power_cycle):
                    tell(COMPENSATED, first + j, asked, right, "V")
                elif shifted:
                    tell(FORGETS, first + j, asked, right, "V")
                else:
                    tell(VOLTAGE, first + j, asked, right, "V")
                if len(told) >= 3:
                    break
        if life.row_current_request_a is not None:
            asked_a = life.row_current_request_a[part]
            right_a = by_stage_a[index]
            marks.seen(CURRENT, len(index))
            wrong = np.flatnonzero(~(np.abs(asked_a - right_a) <= REQUEST_SLACK))
            if len(wrong):
                j = int(wrong[0])
                tell(CURRENT, first + j, float(asked_a[j]), float(right_a[j]), "A")


REQUIREMENTS = (
    Requirement(
        id=VOLTAGE,
        title="the voltage asked for goes with the stage",
        statement="The voltage asked for is `absorption_v` in bulk and absorption and `float_v` in float "
        "and inhibited, from the first sample on.",
        reason="The charger does what it is asked, not what was meant.",
        check=requests,
        features={"requests"},
    ),
    Requirement(
        id=CURRENT,
        title="the current asked for goes with the stage",
        statement="The current asked for is `charge_current_a`, and 0 while inhibited.",
        reason="While protection holds the charge back, nothing may flow.",
        check=requests,
        features={"requests"},
    ),
    Requirement(
        id=NEVER_ABOVE,
        title="never more than the absorption voltage",
        statement="The voltage asked for never exceeds `absorption_v`, shifted by the temperature.",
        reason="It is the highest voltage that anyone has agreed to.",
        check=requests,
        features={"requests"},
    ),
    Requirement(
        id=COMPENSATED,
        title="the voltage asked for follows the temperature",
        statement="The voltages asked for are shifted by `compensation_v_per_c` for each degree of the "
        "last `temp_c` of a valid sample away from `reference_c`; before the first there is no shift.",
        reason="A lead-acid battery that is cold needs more voltage, and one that is hot less.",
        check=requests,
        features={"requests", "compensation"},
    ),
)
