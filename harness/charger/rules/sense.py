"""SENSE: compensation of the line by the voltage that the packs read."""

from __future__ import annotations

from harness.charger.rules import names
from harness.charger.rules.voltage import set_point
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=names.SENSE_BOUNDS,
        title="the compensation is small, and moves slowly",
        statement="The compensation lies within plus or minus `compensation_v`, and moves by at most "
        "`compensation_v_per_s`.",
        reason=(
            "One wrong reading then costs millivolts, and the integral cannot swing against the "
            "pack's meter."
        ),
        check=set_point,
    ),
    Requirement(
        id=names.DIRECTION,
        title="it moves towards what is lacking",
        statement=(
            "The compensation rises only while the pack reads less than the base in force, and falls "
            "below 0 only while it reads more; `sense_error_v` either way."
        ),
        reason="Added the wrong way round, compensation turns a thin cable into too much voltage.",
        check=set_point,
    ),
    Requirement(
        id=names.IDLE,
        title="it stays where nothing can be learned",
        statement=(
            "The compensation does not rise over an interval without a limit, while something else "
            "holds the charger's terminals above its set-point, or while the set-point is not what "
            "bounds the charge; in the first two cases it does not fall below 0 either."
        ),
        reason=(
            "An integral that runs on under a cloud gives the pack half a volt too much when the sun "
            "comes out."
        ),
        check=set_point,
    ),
    Requirement(
        id=names.SENSE_REACHES,
        title="what the line loses is made good",
        statement=(
            "With the charger holding its voltage and the pack lacking more than `sense_error_v`, the"
            " set-point rises: over two `sense_time_s` by at least a quarter of what is lacking, up "
            "to the bounds."
        ),
        reason=(
            "Behind a thin cable a pack that is not compensated never reads what it asked for, and is"
            " never full."
        ),
        check=set_point,
    ),
    Requirement(
        id=names.COMES_DOWN,
        title="what is too much is taken back",
        statement=(
            "With a pack reading more than `sense_error_v` above what it asked for, the set-point "
            "falls: over two `sense_time_s` by at least a quarter of the excess, down to the bounds."
        ),
        reason="When a load takes the current of the cable away, what it lost is too much for as long.",
        check=set_point,
    ),
)
