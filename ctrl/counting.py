"""State of charge by counting, and the empty rule; what sets it to 1 is `ctrl.resets`."""

from __future__ import annotations

from ctrl.limits import Limits


def net_coulombs(efficiency: float, before_a: float, now_a: float, interval_s: float) -> float:
    """What counts of the charge that flowed in one interval, along a straight line of current, C.

    `efficiency` applies to the charging part only.
    """
    if before_a >= 0.0 and now_a >= 0.0:
        return efficiency * (0.5 * (before_a + now_a) * interval_s)
    if before_a <= 0.0 and now_a <= 0.0:
        return 0.5 * (before_a + now_a) * interval_s
    crossing_s = interval_s * (before_a / (before_a - now_a))
    first = 0.5 * before_a * crossing_s
    second = 0.5 * now_a * (interval_s - crossing_s)
    if before_a > 0.0:
        return efficiency * first + second
    return first + efficiency * second


def counted(limits: Limits, soc: float, before_a: float, now_a: float, interval_s: float) -> float:
    """The state of charge at the end of a continuous interval, 0..1."""
    coulombs = net_coulombs(limits.charge_efficiency, before_a, now_a, interval_s)
    moved = soc + coulombs * limits.soc_per_coulomb
    if coulombs > 0.0:
        # A pack that is above the ceiling by a full reset stays there; it does not climb further.
        top = soc if soc > limits.soc_ceiling else limits.soc_ceiling
        return moved if moved < top else top
    return moved if moved > 0.0 else 0.0
