"""The rules once more on a general state-machine library that is asked at every sample.

Counting and dwells are done by hand, as in `plain_machine`; the library decides which transition
is taken: every sample is one trigger, and the library asks the guards of the present stage in
their order.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from transitions import Machine

from ctrl.settings import Settings
from tests.benchmarks.plain_machine import Answer, Row, refuse_what_is_missing

NEVER = 1e300
STAGES = {"bulk": 0, "hold": 1, "confirm": 1, "float": 2}

# Trigger, source, destination, guard, what is done on the way; the library asks from the top down.
TABLE: tuple[tuple[Any, ...], ...] = (
    ("sample", "bulk", "hold", "entry_held", "start_timer"),
    ("sample", ["hold", "confirm"], "bulk", "broken", "forget_dwell"),
    ("sample", "hold", "float", "hold_over_and_full", "set_full"),
    ("sample", "hold", "float", "hold_over_and_low", "start_timer"),
    ("sample", "hold", "confirm", "hold_over", "forget_dwell"),
    ("sample", "confirm", "float", "full_held", "set_full"),
    ("sample", "confirm", "float", "low", "start_timer"),
    ("sample", "float", "bulk", "float_over", "forget_dwell"),
)


class LibraryMachine:
    """The pack's controller with its stage kept by the library."""

    state: str
    sample: Any

    def __init__(self, settings: Settings, soc: float) -> None:
        self.settings = settings
        self.soc = soc
        self.t, self.last_t, self.v, self.i, self.last_i = 0.0, NEVER, 0.0, 0.0, 0.0
        self.joined = self.full_reset = False
        self.dwell_from = self.timer_from = NEVER
        self.gap_s = settings.max_gap_s + 1e-9
        self.per_coulomb = 1.0 / (3600.0 * settings.capacity_ah)
        self.return_soc = -1.0 if settings.return_soc is None else settings.return_soc
        self.float_s = NEVER if settings.float_s is None else settings.float_s
        self.empty_v = -NEVER if settings.empty_v is None else settings.empty_v
        self.cell_limit_v = NEVER if settings.cell_limit_v is None else settings.cell_limit_v
        self.min_c = -NEVER if settings.charge_min_c is None else settings.charge_min_c
        self.max_c = NEVER if settings.charge_max_c is None else settings.charge_max_c
        machine = Machine(
            self, states=list(STAGES), initial="bulk", auto_transitions=False, send_event=False
        )
        for trigger, source, to, guard, before in TABLE:
            machine.add_transition(trigger, source, to, conditions=guard, before=before)

    # The guards: each looks only at what stands in the object.

    def entry_held(self) -> bool:
        return self._held(self.v >= self.settings.entry_v, self.settings.entry_dwell_s)

    def broken(self) -> bool:
        return not self.joined

    def hold_over(self) -> bool:
        return self.t - self.timer_from >= self.settings.hold_s - 1e-9

    def hold_over_and_full(self) -> bool:
        full = self.v >= self.settings.full_v
        return self.hold_over() and full and self.settings.confirm_s == 0.0

    def hold_over_and_low(self) -> bool:
        return self.hold_over() and self.low()

    def full_held(self) -> bool:
        return self._held(self.v >= self.settings.full_v, self.settings.confirm_s)

    def low(self) -> bool:
        return not self.v >= self.settings.full_v

    def float_over(self) -> bool:
        low = self._held(self.v < self.settings.return_v, self.settings.return_dwell_s)
        return low or self.soc < self.return_soc or self.t - self.timer_from >= self.float_s - 1e-9

    def _held(self, condition: bool, for_s: float) -> bool:
        if not condition:
            self.dwell_from = NEVER
            return False
        if self.dwell_from == NEVER:
            self.dwell_from = self.t
        return self.t - self.dwell_from >= for_s - 1e-9

    # What is done on the way.

    def start_timer(self) -> None:
        """Start the hold timer or the float timer; only the second has a dwell beside it."""
        self.timer_from = self.t
        self.dwell_from = self.t if self.v < self.settings.return_v else NEVER

    def forget_dwell(self) -> None:
        high = self.v >= (self.settings.full_v if self.state == "hold" else self.settings.entry_v)
        self.dwell_from = self.t if high else NEVER

    def set_full(self) -> None:
        self.soc, self.full_reset = 1.0, True
        self.start_timer()

    def take(self, t: float, v: float, i: float, cell: float, cold: float, hot: float) -> None:
        """Take one sample; raises `ValueError` where it needs a rule that is not here."""
        self.full_reset = False
        low_v, high_v = self.settings.plausible_v
        low_i, high_i = self.settings.plausible_i
        if not (low_v <= v <= high_v and low_i <= i <= high_i):
            return
        self.t, self.v, self.i = t, v, i
        dt = t - self.last_t
        self.joined = -1e-9 <= dt <= self.gap_s
        if self.joined:
            self._count(dt)
        else:
            self.dwell_from = NEVER
        if (
            v <= self.empty_v
            or cell >= self.cell_limit_v
            or cold < self.min_c
            or cold > self.max_c
            or hot > self.max_c
        ):
            raise ValueError(f"the sample at {t} s needs the empty rule or protection")
        if self.state == "float" and dt < -1e-9:
            self.timer_from = t
        self.sample()
        self.last_t, self.last_i = t, i

    def _count(self, dt: float) -> None:
        before, now = self.last_i, self.i
        efficiency = self.settings.charge_efficiency
        if before >= 0.0 and now >= 0.0:
            net = efficiency * (0.5 * (before + now) * dt)
        elif before <= 0.0 and now <= 0.0:
            net = 0.5 * (before + now) * dt
        else:
            crossing = dt * (before / (before - now))
            first, second = 0.5 * before * crossing, 0.5 * now * (dt - crossing)
            net = efficiency * first + second if before > 0.0 else first + efficiency * second
        moved = self.soc + net * self.per_coulomb
        if net > 0.0:
            self.soc = min(moved, max(self.soc, self.settings.soc_ceiling))
        else:
            self.soc = max(moved, 0.0)


def library_answers(settings: Settings, soc: float, rows: Iterable[Row]) -> Iterator[Answer]:
    """Take every sample; the same arguments and answers as `plain_machine.plain_answers`."""
    refuse_what_is_missing(settings)
    machine = LibraryMachine(settings, soc)
    charging_v, float_v, current_a = (
        settings.absorption_v,
        settings.float_v,
        settings.charge_current_a,
    )
    for row in rows:
        machine.take(*row)
        stage = STAGES[machine.state]
        asked_v = float_v if machine.state == "float" else charging_v
        yield stage, machine.soc, machine.full_reset, asked_v, current_a
