"""FOLLOW: how requests are followed, down and up."""

from __future__ import annotations

from harness.charger.rules import names
from harness.charger.rules.current import limit
from harness.charger.rules.voltage import set_point
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=names.LOWERED,
        title="a lower request is followed at once",
        statement=(
            "While following, base and limit are no higher than the requests in force at the very "
            "sample at which a request is lowered."
        ),
        reason="A pack asks for less because a cell is full; each second of delay goes into that cell.",
        check=set_point,
    ),
    Requirement(
        id=names.ZERO,
        title="a request of no current is obeyed",
        statement="When a pack asks for 0 A, the limit is 0 within `zero_s`.",
        reason="It is the last word of a pack before it opens its switch under load.",
        check=limit,
    ),
    Requirement(
        id=names.SLOPE,
        title="what rises does so with a bounded slope",
        statement=(
            "While following, the base rises by at most `raise_v_per_s` and the limit by at most "
            "`raise_a_per_s`."
        ),
        reason=(
            "All of the current in one step trips protection, and the charge starts again, and trips "
            "again."
        ),
        check=set_point,
    ),
    Requirement(
        id=names.REACHES,
        title="what is asked for is given in the end",
        statement=(
            "While following, base and limit reach what the requests in force allow, at the latest "
            "after ten times as long as the bounds of their slopes would take."
        ),
        reason="A charger that holds back never harms a pack, and never fills it.",
        check=set_point,
    ),
    Requirement(
        id=names.KEEPS,
        title="nothing is taken away without a reason",
        statement=(
            "While following, limit and set-point do not fall but to follow a request, or by the "
            "bounded rate of the compensation."
        ),
        reason="A charge that drops out now and then ends before the pack is full.",
        check=set_point,
    ),
)
