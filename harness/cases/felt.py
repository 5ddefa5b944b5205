"""The temperature by which the pack voltages of a case shift, and how far it keeps from being doubted."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf, isfinite, isnan, nan

from ctrl.settings import Settings

SLACK_S = 1e-9


class Felt:
    """What the rules make of the readings of `temp_c`, one valid sample after the other.

    Ages are counted from sample to sample: a stamp that steps back adds nothing to them.

    Attributes:
        temp_c: the last reading that was believed, degrees C; NaN before there was one.
        unread_s: how long ago it was read, s.
        unchanged_s: how long it has been the same, s.
        shift_v: by how much the pack voltages are shifted, V.
    """

    def __init__(self, settings: Settings) -> None:
        """As after power-up."""
        self._settings = settings
        self._t = nan
        self.temp_c = nan
        self.unread_s = self.unchanged_s = 0.0
        self.shift_v = 0.0

    def read(self, t: float, temp_c: float) -> None:
        """A valid sample with this stamp, s, and this reading, degrees C; NaN for none."""
        passed_s = 0.0 if isnan(self._t) else max(t - self._t, 0.0)
        self._t = t
        self.unread_s += passed_s
        self.unchanged_s += passed_s
        if isfinite(temp_c) and self.jump_c(temp_c) <= _or_endless(self._settings.sensor_jump_c):
            if temp_c != self.temp_c:
                self.unchanged_s = 0.0
            self.temp_c, self.unread_s = temp_c, 0.0
        self.shift_v = self._shift_v()

    def jump_c(self, temp_c: float) -> float:
        """How far a reading lies from the last believed one, K; 0 before there was one."""
        return 0.0 if isnan(self.temp_c) else abs(temp_c - self.temp_c)

    @property
    def lost(self) -> bool:
        """Whether nothing may be raised by it."""
        s = self._settings
        return (
            self.unread_s >= _or_endless(s.sensor_lost_s) - SLACK_S
            or self.unchanged_s >= _or_endless(s.sensor_frozen_s) - SLACK_S
        )

    def _shift_v(self) -> float:
        s = self._settings
        if isnan(self.temp_c):
            return 0.0
        low_c = -inf if s.compensation_min_c is None else s.compensation_min_c
        counts_c = min(max(self.temp_c, low_c), _or_endless(s.compensation_max_c))
        shift_v = s.compensation_v_per_c * (counts_c - s.reference_c)
        return min(shift_v, 0.0) if self.lost else shift_v


def _or_endless(value: float | None) -> float:
    return inf if value is None else value


def ends_of_ages(
    settings: Settings, ages: Iterator[tuple[int, float, float]]
) -> Iterator[tuple[str, int, float]]:
    """Where a sensor is first lost: name of the setting, sample, and how long ago it ended, s.

    Args:
        settings: those of the case.
        ages: index, `unread_s` and `unchanged_s` of each valid sample, in their order.
    """
    lost_s, frozen_s = _or_endless(settings.sensor_lost_s), _or_endless(settings.sensor_frozen_s)
    was = (False, False)
    for k, unread_s, unchanged_s in ages:
        now = (unread_s >= lost_s - SLACK_S, unchanged_s >= frozen_s - SLACK_S)
        if now[0] and not was[0]:
            yield "sensor_lost_s", k, unread_s - lost_s
        if now[1] and not was[1]:
            yield "sensor_frozen_s", k, unchanged_s - frozen_s
        was = now
