"""REQUEST: what is asked of the charger."""

from __future__ import annotations

import numpy as np

from ctrl.vocabulary import Stage
from harness.rules.count import BLOCK
from harness.rules.life import Life
from harness.rules.requirement import Marks, Requirement
from harness.run import Floats, Stages

VOLTAGE = "REQUEST.voltage"
CURRENT = "REQUEST.current"
NEVER_ABOVE = "REQUEST.never-above"
COMPENSATED = "REQUEST.compensated"
FORGETS = "POWER.forgets"
ASKS = "EQUALISE.asks"
BEFORE_FIRST = "COMPENSATE.before-first"
BOUNDED = "COMPENSATE.bounded"
MISSING = "COMPENSATE.missing"
FROZEN = "COMPENSATE.frozen"
JUMP = "COMPENSATE.jump"
FOUND_AGAIN = "COMPENSATE.found-again"
# A request is read by a charger to the millivolt, or more coarsely.
REQUEST_SLACK = 1e-3
# So many requirements are told of one life; what is wrong with the rest is most likely the same.
MOST_TOLD = 3


def _by_row(life: Life, shift_v: Floats) -> Floats:
    """The shift in force at each row, V: that of the last valid sample."""
    if life.valid_rows is None:
        return shift_v
    rows = np.arange(len(life.row_stage))
    latest = np.searchsorted(life.valid_rows, rows, side="right") - 1
    return np.where(latest >= 0, shift_v[latest], 0.0) if len(shift_v) else np.zeros(len(rows))


class _Asked:
    """What must be asked for at each row, and what a wrong voltage is to be blamed on.

    Attributes:
        life: the evidence.
        by_stage_v: voltage for each stage, before it is shifted.
        most_v: the highest voltage that is right in each stage, before it is shifted.
        least_shift_v: the least shift that is right at each row; None where it is always 0.
        most_shift_v: the greatest.
    """

    def __init__(self, life: Life) -> None:
        s = life.settings
        self.life = life
        in_equalisation_v = s.absorption_v if s.equalisation_v is None else s.equalisation_v
        self.by_stage_v = np.array(
            [s.absorption_v, s.absorption_v, s.float_v, s.float_v, in_equalisation_v]
        )
        self.most_v = np.array([s.absorption_v] * 4 + [in_equalisation_v])
        self.least_shift_v = self.most_shift_v = None
        if life.shifts is not None:
            least_v, most_v = life.shifts.least_v, life.shifts.most_v
            self.least_shift_v = self.most_shift_v = _by_row(life, most_v)
            if least_v is not most_v:
                self.least_shift_v = _by_row(life, least_v)

    def wrong(self, first: int, stage: Stages, asked_v: Floats) -> list[int]:
        """The rows of a block, counted from its first, whose voltage is not right."""
        right_v = self.by_stage_v[stage]
        part = slice(first, first + len(stage))
        if self.least_shift_v is None or self.most_shift_v is None:
            off = ~(np.abs(asked_v - right_v) <= REQUEST_SLACK)
        else:
            off = ~(np.abs(asked_v - (right_v + self.least_shift_v[part])) <= REQUEST_SLACK)
            if self.most_shift_v is not self.least_shift_v:
                off &= ~(np.abs(asked_v - (right_v + self.most_shift_v[part])) <= REQUEST_SLACK)
        found: list[int] = np.flatnonzero(off).tolist()
        return found

    def blame(self, row: int, asked_v: float) -> str:
        """The requirement that a wrong voltage breaks."""
        life, shifts = self.life, self.life.shifts
        stage = Stage(life.row_stage[row])
        by_stage_v = float(self.by_stage_v[stage])
        shift_v = asked_v - by_stage_v
        # The shift is that of the last valid sample at or before the row.
        k = life.sample_at(row + 1) - 1
        compensates = life.settings.compensation_v_per_c != 0.0
        if compensates and (shifts is None or k < 0 or shifts.before_first[k]):
            # A voltage that belongs to no stage has been shifted where nothing is to shift it.
            if asked_v in self.by_stage_v:
                return ASKS if self._equalises(stage) else VOLTAGE
            return FORGETS if life.after_power_cycle else BEFORE_FIRST
        if shifts is not None:
            raises = shift_v > REQUEST_SLACK
            for requirement, bears, taken_v in (
                (MISSING, shifts.missing[k] and raises, shift_v),
                (FROZEN, shifts.frozen[k] and raises, shift_v),
                (BOUNDED, shifts.bounded[k], shifts.unbounded_v[k]),
                (JUMP, shifts.jumped[k], shifts.believing_v[k]),
                (FOUND_AGAIN, shifts.found_again[k], 0.0),
            ):
                if bears and abs(shift_v - taken_v) <= REQUEST_SLACK:
                    return requirement
        if self._equalises(stage):
            return ASKS
        moves = shifts is not None and shifts.most_v[k] != 0.0
        return COMPENSATED if moves or (compensates and asked_v not in self.by_stage_v) else VOLTAGE

    def _equalises(self, stage: Stage) -> bool:
        return stage is Stage.EQUALISATION and self.life.settings.equalisation_v is not None

    def seen(self, marks: Marks) -> None:
        """Note how often each requirement is put to the test."""
        life, shifts = self.life, self.life.shifts
        rows = len(life.row_stage)
        equalising = 0
        if life.settings.equalisation_v is not None:
            equalising = int(np.count_nonzero(life.row_stage == Stage.EQUALISATION))
        marks.seen(VOLTAGE, rows - equalising)
        marks.seen(ASKS, equalising)
        marks.seen(NEVER_ABOVE, rows)
        if life.settings.compensation_v_per_c == 0.0:
            return
        if shifts is None or self.most_shift_v is None:
            marks.seen(BEFORE_FIRST, rows)
            return
        marks.seen(COMPENSATED, int(np.count_nonzero(self.most_shift_v)))
        for requirement, flags in (
            (BEFORE_FIRST, shifts.before_first),
            (BOUNDED, shifts.bounded),
            (MISSING, shifts.missing),
            (FROZEN, shifts.frozen),
            (JUMP, shifts.jumped),
            (FOUND_AGAIN, shifts.found_again),
        ):
            marks.seen(requirement, int(np.count_nonzero(flags)))


def requests(life: Life, marks: Marks) -> None:
    """Compare what was asked for with the stage; of each requirement the first row is told."""
    s = life.settings
    stage = life.row_stage
    asked = _Asked(life)
    by_stage_a = np.array([s.charge_current_a] * 3 + [0.0, s.charge_current_a])
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

    if life.row_voltage_request_v is not None:
        asked.seen(marks)
    for first in range(0, len(stage), BLOCK):
        part = slice(first, first + BLOCK)
        index = stage[part]
        if life.row_voltage_request_v is not None:
            asked_v = life.row_voltage_request_v[part]
            for j in asked.wrong(first, index, asked_v):
                row, voltage_v = first + j, float(asked_v[j])
                shift = 0.0 if asked.most_shift_v is None else float(asked.most_shift_v[row])
                most_v = float(asked.most_v[index[j]]) + shift
                if voltage_v > most_v + REQUEST_SLACK:
                    tell(NEVER_ABOVE, row, voltage_v, most_v, "V")
                right_v = float(asked.by_stage_v[index[j]]) + shift
                tell(asked.blame(row, voltage_v), row, voltage_v, right_v, "V")
                if len(told) >= MOST_TOLD:
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
        title="never more than the stage allows",
        statement="The voltage asked for never exceeds `absorption_v`, or in equalisation "
        "`equalisation_v`, shifted by the temperature.",
        reason="It is the highest voltage that anyone has agreed to.",
        check=requests,
        features={"requests"},
    ),
    Requirement(
        id=COMPENSATED,
        title="the voltage asked for follows the temperature",
        statement="The voltages asked for are shifted by `compensation_v_per_c` for each degree of the "
        "last `temp_c` of a valid sample away from `reference_c`, as far as the sensor is believed.",
        reason="A lead-acid battery that is cold needs more voltage, and one that is hot less.",
        check=requests,
        features={"requests", "compensation"},
    ),
)
