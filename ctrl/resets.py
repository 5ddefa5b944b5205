"""The rules that decide a full reset: the reference, and those in use in its place.

A rule is a condition at one sample, which must hold for `confirm_s` if it is `sustained`, and which
is asked during the hold or only once the hold timer has run out. Everything else (what is
done with the answer) is the same for all of them and stands in `ctrl.stages`.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf

from attrs import frozen

from ctrl.limits import Limits


@frozen
class ResetRule:
    """A named way to decide that a pack is full.

    Attributes:
        name: the name by which it is chosen.
        title: what it does, in words.
        during_hold: asked from the start of the hold, not only after it.
        sustained: the condition must hold for `confirm_s`.
        condition: `(limits, voltage at reference temperature in V, current in A) -> bool`.
    """

    name: str
    title: str
    during_hold: bool
    sustained: bool
    condition: Callable[[Limits, float, float], bool]


def high_and_calm(limits: Limits, level_v: float, i: float) -> bool:
    """At or above `full_v` and, where `taper_a` is set, within it: not discharging hard either."""
    return level_v >= limits.full_v and -limits.taper_a <= i <= limits.taper_a


def high(limits: Limits, level_v: float, i: float) -> bool:  # noqa: ARG001  one signature for all
    """At or above `full_v`."""
    return level_v >= limits.full_v


def at_once(limits: Limits, level_v: float, i: float) -> bool:  # noqa: ARG001  one signature for all
    """Always."""
    return True


def tapered(limits: Limits, level_v: float, i: float) -> bool:  # noqa: ARG001  one signature for all
    """Within `taper_a`; without one, never."""
    return limits.taper_a < inf and -limits.taper_a <= i <= limits.taper_a


def high_and_tapered(limits: Limits, level_v: float, i: float) -> bool:
    """At or above `full_v` and within `taper_a`; without one, never."""
    return level_v >= limits.full_v and tapered(limits, level_v, i)


def not_ever(limits: Limits, level_v: float, i: float) -> bool:  # noqa: ARG001  one signature for all
    """Never."""
    return False


VOLTAGE_AFTER_HOLD = ResetRule(
    "voltage_after_hold",
    "the voltage is still there after the hold, confirmed",
    during_hold=False,
    sustained=True,
    condition=high_and_calm,
)
FIRST_TOUCH = ResetRule(
    "first_touch",
    "the voltage is touched once, from the first sample after the start of the hold",
    during_hold=True,
    sustained=False,
    condition=high,
)
HOLD_ONLY = ResetRule(
    "hold_only",
    "the hold timer has run out, whatever the voltage is then",
    during_hold=False,
    sustained=False,
    condition=at_once,
)
TAPER = ResetRule(
    "taper",
    "the current has tapered off, whatever the voltage; the hold timer is the longest wait",
    during_hold=True,
    sustained=True,
    condition=tapered,
)
VOLTAGE_AND_TAPER = ResetRule(
    "voltage_and_taper",
    "the current has tapered off at the voltage; the hold timer is the longest wait",
    during_hold=True,
    sustained=True,
    condition=high_and_tapered,
)
COUNTING_ONLY = ResetRule(
    "counting_only",
    "no full reset at all: the count is never corrected",
    during_hold=False,
    sustained=False,
    condition=not_ever,
)

RESET_RULES = {
    rule.name: rule
    for rule in (
        VOLTAGE_AFTER_HOLD,
        FIRST_TOUCH,
        HOLD_ONLY,
        TAPER,
        VOLTAGE_AND_TAPER,
        COUNTING_ONLY,
    )
}


def proves(rule: ResetRule, limits: Limits, level_v: float, i: float) -> bool:
    """Whether the rule's condition is true at this sample."""
    return rule.condition(limits, level_v, i)
