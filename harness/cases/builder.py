"""Writes the samples of a vector, segment by segment, and what must come of them.

Every timer ends in the middle between two samples. A segment begins with a sample at its start, the
next one follows half an interval later, then one each interval; so what starts with a segment and
lasts a whole number of intervals never ends on a sample, and a controller whose clock is off by
less than half an interval decides at the same sample. `until` writes up to the sample on which such
a timer is first seen to have ended, and the next segment begins there.

A controller that decides one sample late is within the tolerance of the checks. What it decides by
stays until then: readings that are set too soon after a decision wait for `SETTLING_SAMPLES`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from ctrl.settings import Settings
from harness.run import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Expected, Trace

# A fixed controller may have timers of days; nobody reads a vector of more samples than this.
MOST_SAMPLES = 20_000
# After every decision its readings stay for so many samples, and after the last one for so many.
SETTLING_SAMPLES = 2
LAST_SAMPLES = 3


class NotApplicableError(Exception):
    """A recipe cannot be rendered for these settings; the text says why."""


class Builder:
    """Collects the samples and the expectations of one vector.

    Readings stay as they are until they are set again. `clock_s` is where the next segment begins.

    Attributes:
        settings: the settings that the vector is written for.
        soc: starting state of charge, 0..1; a recipe may set it before the first sample.
        clock_s: time stamp at which the next segment begins, s.
        longest_interval_s: no two samples of a segment are further apart, s.
    """

    def __init__(self, settings: Settings) -> None:
        """Start an empty vector."""
        self.settings = settings
        self.soc = 0.5 if settings.return_soc is None else (1.0 + settings.return_soc) / 2
        self.clock_s = 0.0
        self.longest_interval_s = 1.0
        self.exact: frozenset[float] = frozenset(_numbers(settings))
        self._readings: dict[str, float | None] = {}
        self._samples: list[tuple[float | None, dict[str, float | None]]] = []
        self._sampled = False
        self._stages: list[tuple[int, str]] = []
        self._resets: list[int] = []
        self._counts: list[tuple[int, float, float]] = []
        self._cycles: list[int] = []
        self._requests: list[int] = []
        self._cuts: list[int] = []
        self._decided: int | None = None

    # -- what the vector needs -------------------------------------------------------------

    def need(self, condition: bool, reason: str) -> None:
        """Go on only if a condition on the settings holds; raises `NotApplicableError`."""
        if not condition:
            raise NotApplicableError(reason)

    # -- samples ---------------------------------------------------------------------------

    def set(self, **readings: float | None) -> None:
        """Change readings from the next sample on; None is a reading that is missing."""
        if any(self._readings.get(name) != self._tidy(readings[name]) for name in readings):
            self.settle()
        self._change(readings)

    def run(self, duration_s: float, **readings: float | None) -> float:
        """Write a segment of `duration_s`, without the sample at its end; returns the end, s."""
        self.set(**readings)
        self.need(duration_s >= 0, "the timers are too short for what has to happen within them")
        interval_s = self._interval(duration_s)
        start_s = self._begin()
        for k in range(round(duration_s / interval_s)):
            self._write(start_s + (k + 0.5) * interval_s)
        self.clock_s, self._sampled = _stamp(start_s + duration_s), False
        return self.clock_s

    def until(
        self, duration_s: float, *, since_s: float | None = None, **readings: float | None
    ) -> float:
        """Write up to the first sample at which `duration_s` have passed; returns its stamp, s.

        Args:
            duration_s: length of a timer or dwell, s.
            since_s: when it started; left out, at the first sample with the present readings.
            readings: changes from the next sample on.
        """
        changed = any(self._readings.get(name) != self._tidy(readings[name]) for name in readings)
        self.set(**readings)
        if since_s is None:
            if self._sampled and changed:
                self.after(self._interval(duration_s) / 2)
            since_s = self.clock_s
        start_s = self._begin()
        rest_s = _stamp(since_s + duration_s - start_s)
        self.need(rest_s >= 0, "the timers are too short for what has to happen within them")
        if rest_s > 0:
            interval_s = self._interval(rest_s)
            count = round(rest_s / interval_s)
            for k in range(count + 1):
                self._write(start_s + (k + 0.5) * interval_s)
        elif self._stages and self._stages[-1][0] == len(self._samples) - 1:
            # At most one stage change happens at a sample, so a dwell of 0 ends at the next one.
            self._write(start_s + self._interval(0.0))
        self.clock_s, self._sampled = self._last_s(), True
        return self.clock_s

    def after(self, seconds: float, **readings: float | None) -> float:
        """Write one sample `seconds` after the last one (before it, where negative)."""
        self.set(**readings)
        self.clock_s, self._sampled = _stamp(self._last_s() + seconds), False
        return self._begin()

    def at(self, stamp_s: float | None, **readings: float | None) -> None:
        """Write one sample with a stamp of its own; None is a stamp that is missing."""
        self._change(readings)
        self._write(stamp_s)
        if stamp_s is not None:
            self.clock_s, self._sampled = _stamp(stamp_s), True

    def skip(self, seconds: float) -> None:
        """Let the next segment begin `seconds` after the last sample (before it, where negative)."""
        self.settle()
        self.clock_s, self._sampled = _stamp(self._last_s() + seconds), False

    def begin_now(self) -> None:
        """Make sure that there is a sample at the clock."""
        self._begin()

    def settle(self, count: int = SETTLING_SAMPLES) -> None:
        """Make sure that `count` samples with the same readings follow the last decision."""
        missing = 0 if self._decided is None else self._decided + 1 + count - len(self._samples)
        if missing <= 0:
            return
        latest_s = [stamp_s or 0.0 for stamp_s, _ in self._samples[-2:]]
        interval_s = latest_s[-1] - latest_s[0]
        if not self._sampled:
            # The next segment begins where it was meant to, and with its own readings.
            interval_s = (self.clock_s - latest_s[-1]) / (missing + 1)
        elif not 0 < interval_s <= self._interval(0.0):
            interval_s = self._interval(0.0)
        for number in range(1, missing + 1):
            self._write(latest_s[-1] + number * interval_s)
        if self._sampled:
            self.clock_s = self._last_s()

    # -- what else is done to the controller -----------------------------------------------

    def power_cycle(self) -> None:
        """The controller loses power just before the next sample."""
        self.settle()
        self._cycles.append(len(self._samples))

    def request_equalisation(self) -> None:
        """Somebody asks for an equalisation just before the next sample."""
        self.settle()
        self._requests.append(len(self._samples))

    def cut(self) -> None:
        """The message ends with the last sample."""
        self._cuts.append(len(self._samples))

    def cut_everywhere(self) -> None:
        """Every sample is a message of its own."""
        self._cuts = list(range(1, len(self._samples)))

    # -- what must come of it --------------------------------------------------------------

    def expect(self, stage: str) -> None:
        """At the last sample the controller goes into a stage."""
        self._decided = len(self._samples) - 1
        self._stages.append((self._decided, stage))

    def expect_reset(self) -> None:
        """At the last sample there is a full reset; the stage after it is float."""
        self._resets.append(len(self._samples) - 1)
        self.expect("float")
        self.expect_soc(1.0, 0.0)

    def expect_empty(self) -> None:
        """At the last sample the count is set to 0."""
        self._decided = len(self._samples) - 1
        self.expect_soc(0.0, 0.0)

    def expect_soc(self, soc: float, tolerance: float = 1e-9) -> None:
        """At the last sample the controller has counted `soc`, 0..1."""
        self._counts.append((len(self._samples) - 1, round(soc, 12), round(tolerance, 12)))

    # -- the result ------------------------------------------------------------------------

    def trace(self) -> Trace:
        """The samples."""
        columns = REQUIRED_COLUMNS[1:] + tuple(
            name for name in OPTIONAL_COLUMNS if any(name in row for _, row in self._samples)
        )
        arrays = {"t": np.array([math.nan if t is None else t for t, _ in self._samples])}
        for name in columns:
            values = [row.get(name) for _, row in self._samples]
            arrays[name] = np.array([math.nan if x is None else x for x in values])
        return Trace(**arrays)

    def expected(self) -> Expected:
        """What must come of them."""
        starts = bool(self._stages) and self._stages[0][0] == 0
        stages = self._stages if starts else [(0, "bulk"), *self._stages]
        return Expected(
            stages=tuple((self._stamp_of(k), word) for k, word in stages),
            resets=tuple(self._stamp_of(k) for k in self._resets),
            soc=tuple((self._stamp_of(k), soc, tolerance) for k, soc, tolerance in self._counts),
        )

    @property
    def power_cycles(self) -> tuple[int, ...]:
        """The indices of the samples before which the controller loses power."""
        return tuple(self._cycles)

    @property
    def equalise_requests(self) -> tuple[int, ...]:
        """The indices of the samples before which an equalisation is asked for."""
        return tuple(self._requests)

    @property
    def cuts(self) -> tuple[int, ...]:
        """The indices at which the trace is cut into messages."""
        return tuple(self._cuts)

    # -- inside ----------------------------------------------------------------------------

    def _interval(self, duration_s: float) -> float:
        longest_s = min(max(self.longest_interval_s, duration_s / 200), self.settings.max_gap_s / 2)
        if duration_s <= 0:
            return longest_s
        return duration_s / max(1, math.ceil(duration_s / longest_s - 1e-9))

    def _change(self, readings: Mapping[str, float | None]) -> None:
        self._readings.update({name: self._tidy(value) for name, value in readings.items()})

    def _begin(self) -> float:
        if not self._sampled:
            self._write(self.clock_s)
            self._sampled = True
        return self.clock_s

    def _write(self, stamp_s: float | None) -> None:
        if len(self._samples) >= MOST_SAMPLES:
            raise NotApplicableError(
                f"the timers are so long that more than {MOST_SAMPLES} samples would be needed"
            )
        self._samples.append((None if stamp_s is None else _stamp(stamp_s), dict(self._readings)))

    def _last_s(self) -> float:
        for stamp_s, _ in reversed(self._samples):
            if stamp_s is not None:
                return stamp_s
        raise ValueError("there is no sample yet")

    def _stamp_of(self, index: int) -> float:
        stamp_s = self._samples[index][0]
        if stamp_s is None:
            raise ValueError(f"sample {index} has no time stamp to expect anything at")
        return stamp_s

    def _tidy(self, value: float | None) -> float | None:
        """Take the noise of a sum off a number, unless it is exactly what a setting is."""
        if value is None or value in self.exact:
            return value
        tidied = round(value, 6)
        return tidied if abs(tidied - value) < 1e-9 else value


def _stamp(seconds: float) -> float:
    return round(seconds, 9)


def _numbers(settings: Settings) -> list[float]:
    values: list[Any] = []
    for value in settings.to_mapping().values():
        values.extend(value if isinstance(value, tuple) else [value])
    return [float(value) for value in values if isinstance(value, int | float)]
