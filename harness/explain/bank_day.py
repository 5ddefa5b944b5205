"""All packs of a bank on one day: what they do to each other."""

from __future__ import annotations

from collections import Counter
from math import isfinite
from typing import Any

import numpy as np
from attrs import asdict, evolve, frozen

from ctrl.settings import Settings
from harness.explain.charge import ChargeDay
from harness.explain.days import Day
from harness.explain.wiring import Apart, Between

# What another pack's controller does is seen on the bus within so long, s.
FOLLOWS_S = 180.0
# What decides whether and when a pack is called full.
DECIDING = (
    "entry_v", "entry_dwell_s", "hold_s", "sag_v", "on_sag", "full_v", "confirm_s", "taper_a",
    "on_unconfirmed", "wait_limit_s",
)  # fmt: skip


@frozen(eq=False)
class BankDay:
    """One day of a bank.

    Attributes:
        day: the day.
        packs: one entry a pack, in the order of the log.
    """

    day: Day
    packs: tuple[ChargeDay, ...]

    def others(self, pack: ChargeDay) -> list[ChargeDay]:
        """Every pack but one."""
        return [each for each in self.packs if each is not pack]

    def known_lines(self, pack: ChargeDay) -> list[Between]:
        """What lies between the charger and the other packs, where it can be told."""
        lines = [other.between for other in self.others(pack)]
        return [line for line in lines if line is not None and line.apart is Apart.YES]

    def usual_settings(self, pack: ChargeDay) -> Settings | None:
        """The pack's settings with what decides as on most of the others; None where they agree."""
        others = self.others(pack)
        if len(others) < 1:
            return None
        changes: dict[str, Any] = {}
        for name in DECIDING:
            values = Counter(getattr(each.settings, name) for each in others)
            usual, times = values.most_common(1)[0]
            # Two packs that differ do not tell which of them is wrong; the failing one is looked at.
            if usual != getattr(pack.settings, name) and 2 * times > len(others):
                changes[name] = usual
        if not changes:
            return None
        try:
            return evolve(pack.settings, **changes)
        except ValueError:
            return None

    def differing(self, pack: ChargeDay) -> list[tuple[str, Any, Any]]:
        """Which of the deciding settings differ: name, this pack's, the others'."""
        usual = self.usual_settings(pack)
        if usual is None:
            return []
        own, other = asdict(pack.settings), asdict(usual)
        return [(name, own[name], other[name]) for name in DECIDING if own[name] != other[name]]

    def lowered_by(
        self, pack: ChargeDay, since_s: float, until_s: float
    ) -> tuple[str, float] | None:
        """The pack that entered float in that time, and when; the last one before the end."""
        found: list[tuple[float, str]] = []
        for other in self.others(pack):
            for row in other.enters_float():
                t = other.stamp(row)
                if since_s <= t <= until_s:
                    found.append((t, other.ruled.name))
        if not found:
            return None
        t, name = max(found)
        return name, t

    def power_w(self, t: float) -> float:
        """Power into all packs at a stamp, W; negative while they deliver."""
        total = 0.0
        for pack in self.packs:
            row = pack.row_at(t)
            power = float(pack.trace.v[row] * pack.trace.i[row])
            total += power if isfinite(power) else 0.0
        return total

    def base_load_w(self) -> float:
        """What the packs usually deliver while nothing charges them, W."""
        first = self.packs[0]
        t = first.trace.t
        some = t[:: max(1, len(t) // 500)]
        powers = np.array([self.power_w(float(at)) for at in some if isfinite(at)])
        delivering = -powers[powers < 0.0]
        return float(np.median(delivering)) if len(delivering) else 0.0
