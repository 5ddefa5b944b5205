"""CEILING: what is never exceeded, whatever happened before."""

from __future__ import annotations

from harness.charger.rules import names
from harness.charger.rules.current import limit
from harness.charger.rules.voltage import set_point
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=names.CEILING_VOLTAGE,
        title="the set-point is bounded by the lowest request",
        statement=(
            "While following, the set-point never exceeds the lowest request in force by more than "
            "`compensation_v`."
        ),
        reason=(
            "A line that lost its sense wire, or a meter that reads low, must cost a bounded voltage,"
            " and no cell."
        ),
        check=set_point,
    ),
    Requirement(
        id=names.CEILING_CURRENT,
        title="the limit is bounded by what is asked for together",
        statement="While following, the limit never exceeds the sum of the requests in force.",
        reason="A pack asks for the current that its cells, its switch and its cable bear.",
        check=limit,
    ),
    Requirement(
        id=names.CEILING_HIGHEST,
        title="nothing exceeds the highest that is set",
        statement=(
            "The set-point never exceeds `highest_v` and the limit never exceeds `highest_a`, in any "
            "state."
        ),
        reason=(
            "One garbled or greedy request must end at a number that whoever built the system has "
            "chosen."
        ),
        check=set_point,
    ),
)
