"""Move the numbers of a story to other settings, each to where it means the same.

A story says "56 V" and means: half way from `fallback_v` to `highest_v`. It says "8 s" and means: longer
than `stale_s`, shorter than `steady_s`. So voltages and times are moved piecewise, from one setting
to the next. What a reading lacks of a request stays as many times `sense_error_v` as it was.

Whether the story then still puts to the test what it is about is not known here: it is tried
(`harness.charger.render`).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import isfinite
from typing import TYPE_CHECKING

from ctrl.charger import ChargerSettings
from harness.cases.builder import NotApplicableError

if TYPE_CHECKING:
    from harness.charger.scene import Says

# A reading this near to a request is told by how much it lacks, V.
NEAR_V = 1.5


class Fit:
    """From the settings in whose numbers a story is written to those of a case."""

    def __init__(self, told: ChargerSettings, wanted: ChargerSettings) -> None:
        """Compare both.

        Raises:
            NotApplicableError: there are fewer packs than the story tells of.
        """
        self._same = told == wanted
        if wanted.packs < told.packs:
            raise NotApplicableError(f"packs must be {told.packs} or more, it is {wanted.packs}")
        self._shares = wanted.packs - told.packs + 1
        self._volts = list(zip(_volts(told), _volts(wanted), strict=True))
        self._amps = wanted.highest_a / told.highest_a
        self._beside = wanted.sense_error_v / told.sense_error_v
        self._times = list(zip(_times(told), _times(wanted), strict=True))
        self._gaps = list(zip(_gaps(told), _gaps(wanted), strict=True))
        self._step = wanted.stale_s / told.stale_s
        self._plausible_a = told.plausible_a, wanted.plausible_a
        self._most_gap_s = wanted.max_gap_s

    def step_s(self, told_s: float) -> float:
        """How far samples are apart, s.

        Raises:
            NotApplicableError: further than the longest gap.
        """
        step_s = told_s * self._step
        if step_s > self._most_gap_s:
            raise NotApplicableError(
                f"max_gap_s must be {step_s:g} s or more with this stale_s, "
                f"it is {self._most_gap_s:g} s"
            )
        return step_s

    def seconds(self, told_s: float) -> float:
        """A length of time, s."""
        return told_s if self._same else _between(self._times, told_s)

    def gap_s(self, told_s: float) -> float:
        """A gap between two samples, s; negative where a stamp steps back."""
        if self._same:
            return told_s
        return _between(self._gaps, told_s) if told_s > 0.0 else told_s * self._step

    def volts(self, told_v: float) -> float:
        """A voltage, V."""
        return told_v if self._same or not isfinite(told_v) else _between(self._volts, told_v)

    def read_v(self, told_v: float, asked_v: float) -> float:
        """A voltage that is read while another one is asked for, V."""
        if self._same or not abs(told_v - asked_v) <= NEAR_V:
            return self.volts(told_v)
        return self.volts(asked_v) + (told_v - asked_v) * self._beside

    def current_a(self, told_a: float) -> float:
        """A current, A; one that cannot be believed stays so."""
        told_most_a, most_a = self._plausible_a
        if self._same or not abs(told_a) <= told_most_a:
            return told_a * most_a / told_most_a
        return told_a * self._amps

    def says(self, told: Says) -> Says:
        """A message."""
        if self._same:
            return told
        return told.but(
            request_v=self.volts(told.request_v),
            request_a=self.current_a(told.request_a),
            pack_v=self.read_v(told.pack_v, told.request_v),
            pack_a=self.current_a(told.pack_a),
            age_s=self.seconds(told.age_s) if told.age_s > 0.0 else told.age_s,
        )

    def shared(self, row: Sequence[Says]) -> list[Says]:
        """What all packs say; those of which the story does not tell share what its last one asks for."""
        if self._shares == 1:
            return list(row)
        share = row[-1].but(request_a=row[-1].request_a / self._shares)
        return [*row[:-1], *[share] * self._shares]


def _between(pairs: Sequence[tuple[float, float]], told: float) -> float:
    """The number as far between two marks as it was; beyond the last ones by the nearest two."""
    for (told_low, low), (told_high, high) in pairwise(pairs):
        if told <= told_high or told_high == pairs[-1][0]:
            return low + (told - told_low) * (high - low) / (told_high - told_low)
    raise ValueError("there are fewer than two marks")


def _volts(s: ChargerSettings) -> list[float]:
    low_v, high_v = s.plausible_v
    return _rising([low_v, s.fallback_v, s.highest_v, high_v], 0.01)


def _times(s: ChargerSettings) -> list[float]:
    long_s = max(s.silent_s, s.frozen_s, s.sense_time_s)
    return _rising([0.0, s.stale_s, s.steady_s, long_s, 2.0 * long_s], s.stale_s)


def _gaps(s: ChargerSettings) -> list[float]:
    return _rising([0.0, s.max_gap_s, s.silent_s], s.max_gap_s)


def _rising(marks: Sequence[float], least: float) -> list[float]:
    """The marks, none nearer to the one before than `least`."""
    risen = [marks[0]]
    for mark in marks[1:]:
        risen.append(max(mark, risen[-1] + least))
    return risen
