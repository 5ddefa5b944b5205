"""FLOAT: how long float lasts."""

from __future__ import annotations

from harness.rules.float_stage import ENDS, FULL_LENGTH, STAYS, floats
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=STAYS,
        title="float is left only for a reason",
        statement="Float is left for bulk only by a low voltage, a low state of charge, or its timer; "
        "without a `float_s` it has no limit. An equalisation that ends is followed by a new float.",
        reason="A pack that goes back to its highest voltage without need is cycled and aged for nothing.",
        check=floats,
    ),
    Requirement(
        id=FULL_LENGTH,
        title="float lasts for its whole timer",
        statement="Where no other rule is met, float is not left before its timer, counted from the "
        "entry of float, shows `float_s`.",
        reason="Each early end is one more charge to the highest voltage.",
        check=floats,
        features={"float_timer"},
    ),
    Requirement(
        id=ENDS,
        title="the float timer ends float",
        statement="At the sample at which the float timer shows `float_s` the stage becomes bulk.",
        reason="A cycle that is set is how a bank is brought to its voltage again without a sag.",
        check=floats,
        features={"float_timer"},
    ),
)
