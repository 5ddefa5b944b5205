"""Whether an equalisation is due: what may be so, and what is certainly so.

Whether one was completed or abandoned is not reported. Where its end may have been either, the rules
go on from both, and a controller is held to what is true of each.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from attrs import frozen

from harness.rules.held import TIME_SLACK_S
from harness.rules.life import Life


@frozen
class Past:
    """What there may have been so far.

    Attributes:
        done: the sample on which the last one was completed; -1 where none was in this life.
        not_before_s: none starts before the clock of the life shows this, s.
    """

    done: int = -1
    not_before_s: float = -np.inf


class Due:
    """When an equalisation may start, and when it must have, from sample to sample of one life.

    Attributes:
        pasts: every past that the answers so far allow.
    """

    def __init__(self, life: Life) -> None:
        self.life = life
        self.pasts: tuple[Past, ...] = (Past(),)
        self._asked = [life.sample_at(row) for row in life.request_rows]

    def asked_from(self, past: Past) -> int:
        """The sample from which a request is in force; behind the last one where none is."""
        return next((k for k in self._asked if k > past.done), len(self.life.t))

    def scheduled_s(self, past: Past, k: int) -> float:
        """For how long one has been due by the schedule at sample `k`, s; negative: in how long."""
        every_s = self.life.settings.equalisation_every_s
        if every_s is None:
            return -np.inf
        clock = self.life.clock
        return float(clock[k] - clock[max(past.done, 0)]) - every_s

    def wait_s(self, past: Past, k: int) -> float:
        """For how long yet one that was abandoned forbids another at sample `k`, s."""
        return past.not_before_s - float(self.life.clock[k])

    def may_be_due(self, k: int) -> list[Past]:
        """The pasts with which one may be due at sample `k`, whatever forbids it."""
        slack_s = self.life.slack_s(k)
        return [
            past
            for past in self.pasts
            if k >= self.asked_from(past) or self.scheduled_s(past, k) >= -slack_s
        ]

    def requested(self, k: int) -> bool:
        """Whether one is certainly due by a request at sample `k`, and by nothing else."""
        return all(
            k >= self.asked_from(past) and self.scheduled_s(past, k) < 0.0 for past in self.pasts
        )

    def surely_due_from(self) -> int:
        """The first sample at which one is certainly due, whatever forbids it."""
        return max(min(self.asked_from(past), self._scheduled_from(past)) for past in self.pasts)

    def must_start_from(self) -> int:
        """The first sample at which one is certainly due and nothing forbids it."""
        return max(
            max(
                min(self.asked_from(past), self._scheduled_from(past)),
                self._passed(past.not_before_s),
            )
            for past in self.pasts
        )

    def surely_forbidden(self, k: int) -> bool:
        """Whether one that was abandoned certainly forbids another at sample `k`."""
        slack_s = self.life.slack_s(k)
        return all(self.wait_s(past, k) > slack_s for past in self.pasts)

    def completed(self, k: int) -> Iterable[Past]:
        """What there is to remember when one was completed at sample `k`."""
        return (Past(done=k),)

    def abandoned(self, clock_s: float) -> Iterable[Past]:
        """What there is to remember when one was abandoned while the clock showed this, s."""
        not_before_s = clock_s + self.life.settings.equalisation_retry_s
        return (Past(past.done, not_before_s) for past in self.pasts)

    def _scheduled_from(self, past: Past) -> int:
        every_s = self.life.settings.equalisation_every_s
        if every_s is None:
            return len(self.life.t)
        return self._passed(float(self.life.clock[max(past.done, 0)]) + every_s)

    def _passed(self, clock_s: float) -> int:
        """The sample by which a timer that ends at `clock_s` has ended, one interval late."""
        clock = self.life.clock
        if clock_s == -np.inf:
            return 0
        due = int(np.searchsorted(clock, clock_s - TIME_SLACK_S))
        if due >= len(clock):
            return len(clock)
        return int(np.searchsorted(clock, clock[due] + self.life.tolerance_s, side="right"))
