"""State of charge by counting; the empty rule is in `ctrl.protection`, the reset to 1 in `ctrl.resets`."""

from __future__ import annotations

from ctrl.limits import Limits


def counted(limits: Limits, soc: float, before_a: float, now_a: float, interval_s: float) -> float:
    """The state of charge at the end of a continuous interval, 0..1.

    Between two samples the current runs along a straight line; the efficiency applies to the part
    of it that charges.
    """
    if before_a >= 0.0 and now_a >= 0.0:
        coulombs = limits.charge_efficiency * (0.5 * (before_a + now_a) * interval_s)
    elif before_a <= 0.0 and now_a <= 0.0:
        coulombs = 0.5 * (before_a + now_a) * interval_s
    else:
        crossing_s = interval_s * (before_a / (before_a - now_a))
        first = 0.5 * before_a * crossing_s
        second = 0.5 * now_a * (interval_s - crossing_s)
        if before_a > 0.0:
            coulombs = limits.charge_efficiency * first + second
        else:
            coulombs = first + limits.charge_efficiency * second
    moved = soc + coulombs * limits.soc_per_coulomb
    if coulombs > 0.0:
        # A pack that is above the ceiling by a full reset stays there; it does not climb further.
        top = soc if soc > limits.soc_ceiling else limits.soc_ceiling
        return moved if moved < top else top
    return moved if moved > 0.0 else 0.0
