"""SOC: what the count of charge may do."""

from __future__ import annotations

from harness.rules.count import (
    BOUNDS,
    CEILING,
    COUNTS,
    EFFICIENCY,
    EMPTY,
    NO_JUMP,
    STARTS,
    counts,
)
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=STARTS,
        title="the count starts where it is told",
        statement="The first sample after a start shows the starting state of charge: it adds no count.",
        reason="There is no interval before the first sample.",
        check=counts,
        features={"soc"},
    ),
    Requirement(
        id=COUNTS,
        title="the count follows the current",
        statement="Over a continuous interval the state of charge moves by the integral of the current "
        "over `3600 * capacity_ah`; any rule between the two rectangle sums is accepted.",
        reason="Between two full resets the count is all that there is.",
        check=counts,
        features={"soc"},
    ),
    Requirement(
        id=EFFICIENCY,
        title="only charging current is discounted",
        statement="`charge_efficiency` multiplies the charging part of the current, and nothing else.",
        reason="Discounting the discharge as well hides the very loss it is there for.",
        check=counts,
        features={"soc"},
    ),
    Requirement(
        id=CEILING,
        title="counting alone does not fill a pack",
        statement="Counting never raises the state of charge above `soc_ceiling`, nor, where it is above "
        "already, any further.",
        reason="Only a full reset has proved 100 %.",
        check=counts,
        features={"soc"},
    ),
    Requirement(
        id=BOUNDS,
        title="the count stays within 0..1",
        statement="The state of charge is never below 0 or above 1.",
        reason="Whatever reads it next does not expect 103 %.",
        check=counts,
        features={"soc"},
    ),
    Requirement(
        id=NO_JUMP,
        title="the count does not jump",
        statement="Apart from a full reset and the empty rule nothing makes the state of charge jump.",
        reason="A jump that nobody can explain costs the trust in every other number.",
        check=counts,
        features={"soc"},
    ),
    Requirement(
        id=EMPTY,
        title="a pack at its empty voltage is counted as empty",
        statement="When the voltage has been at or below `empty_v` for `empty_dwell_s`, in any stage, the "
        "state of charge becomes 0 at that sample: once, until the voltage has been above it again.",
        reason="At the foot of the curve the voltage is the better witness; a sag is not.",
        check=counts,
        features={"soc", "empty_reset"},
    ),
)
