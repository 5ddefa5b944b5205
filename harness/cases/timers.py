"""Where the timers and dwells of a case end, and whether a sample stands too near.

Worked out from the samples and the expected stages alone.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from harness.cases.felt import Felt, ends_of_ages
from harness.cases.margins import GAP_MARGIN, TIMER_MARGIN, Samples, samples_of
from harness.run import Case, Flags, Floats

_ROUNDING = 1e-6


def close_timers(case: Case) -> Iterator[str]:
    """Say which timers end too near to a sample, one sentence each."""
    samples = samples_of(case)
    # A controller without a valid sample has no timers but the one of missing readings.
    yield from _close_gaps(case, samples)
    kept = np.flatnonzero(samples.valid)
    if len(kept) == 0:
        return
    timeline = _Timeline(case, samples, kept)
    yield from timeline.dwells()
    yield from timeline.holds()
    yield from timeline.floats()
    yield from timeline.equalisations()
    yield from timeline.sensor()


def _close_gaps(case: Case, samples: Samples) -> Iterator[str]:
    """Intervals, and stretches without a valid reading, of about `max_gap_s`."""
    limit_s = case.settings.max_gap_s
    last_s = np.nan
    for k, t in enumerate(case.trace.t):
        if k in case.power_cycles:
            last_s = np.nan
        if np.isfinite(t):
            if abs(t - last_s - limit_s) < GAP_MARGIN * limit_s - _ROUNDING and (
                samples.valid[k] or abs(t - last_s - limit_s) < TIMER_MARGIN * _step(case, k)
            ):
                yield f"at t {t:g} s the last valid sample is about max_gap_s {limit_s:g} s back"
            if samples.valid[k] or not np.isfinite(last_s):
                last_s = t


def _step(case: Case, k: int) -> float:
    return float(case.trace.t[k] - case.trace.t[k - 1]) - _ROUNDING if k else 0.0


class _Timeline:
    """The valid samples of a case, with the timers that run over them."""

    def __init__(self, case: Case, samples: Samples, kept: npt.NDArray[np.intp]) -> None:
        self.case = case
        self.settings = case.settings
        self.samples = samples
        self.kept = kept
        self.t: Floats = case.trace.t[kept]
        self.v: Floats = case.trace.v[kept]
        self.i: Floats = case.trace.i[kept]
        self.joined: Flags = samples.joined[kept]
        self.stage = [samples.stage[k] for k in kept]
        self.entered = np.array(
            [k == 0 or self.stage[k] != self.stage[k - 1] for k in range(len(kept))]
        )
        cycles = np.searchsorted(kept, np.array(case.power_cycles, dtype=int))
        self.powered = np.zeros(len(kept), np.bool_)
        self.powered[cycles[cycles < len(kept)]] = True

    def level(self, name: str) -> Floats:
        return self.samples.level(name)[self.kept]

    # -- dwells ----------------------------------------------------------------------------

    def dwells(self) -> Iterator[str]:
        """Every dwell: those that end, and those that are broken off shortly before."""
        s = self.settings
        yield from self.dwell("entry_dwell_s", self.v >= self.level("entry_v"), "bulk")
        yield from self.dwell("return_dwell_s", self.v < self.level("return_v"), "float")
        if s.empty_v is not None:
            yield from self.dwell("empty_dwell_s", self.v <= s.empty_v)
        cell = self.samples.reading("cell_max_v")[self.kept]
        cold = self.samples.reading("temp_c")[self.kept]
        hot = self.samples.hottest_c[self.kept]
        limit_v = np.inf if s.cell_limit_v is None else s.cell_limit_v
        low_c = -np.inf if s.charge_min_c is None else s.charge_min_c
        high_c = np.inf if s.charge_max_c is None else s.charge_max_c
        high_cell, outside = cell >= limit_v, (cold < low_c) | (hot > high_c)
        yield from self.dwell("trip_dwell_s", high_cell)
        yield from self.dwell("trip_dwell_s", outside)
        calm = cell <= s.cell_release_v
        mild = (cold >= low_c + s.temp_band_c) & (hot <= high_c - s.temp_band_c)
        clear = (calm | ~self.tripped(high_cell)) & (mild | ~self.tripped(outside))
        yield from self.dwell("release_dwell_s", clear, "inhibited")
        yield from self.dwell("equalisation_loss_s", self.i <= 0, "equalisation")
        if s.equalisation_max_c is not None:
            yield from self.dwell("trip_dwell_s", ~(hot <= s.equalisation_max_c), "equalisation")

    def tripped(self, true: Flags) -> Flags:
        """Where a cause holds charging back: from the end of its trip dwell to the release."""
        held = np.zeros(len(self.t), np.bool_)
        since_s, latched = np.inf, False
        for k in range(len(self.t)):
            if not true[k]:
                since_s = np.inf
            elif not self.joined[k] or self.powered[k] or since_s == np.inf:
                since_s = float(self.t[k])
            inhibited = self.stage[k] == "inhibited"
            over = float(self.t[k]) - since_s >= self.settings.trip_dwell_s - 1e-9
            # The sample of the release is still one on which the cause is asked.
            leaves = k > 0 and self.stage[k - 1] == "inhibited" and not self.powered[k]
            held[k] = latched = (latched and (inhibited or leaves)) or over
        return held

    def dwell(self, name: str, true: Flags, stage: str = "") -> Iterator[str]:
        """One dwell over the runs of its condition, in one stage or across all of them."""
        length_s = float(getattr(self.settings, name))
        if length_s == 0:
            return
        ended = False
        begin = -1
        for k in range(len(self.t)):
            # The sample that leaves a stage is the one on which its dwell is seen to have ended.
            leaves = k > 0 and self.stage[k - 1] == stage and not self.powered[k]
            running = bool(true[k]) and (not stage or self.stage[k] == stage or leaves)
            entered = bool(stage) and self.stage[k] == stage and self.entered[k]
            fresh = not self.joined[k] or self.powered[k] or entered
            if begin >= 0 and (not running or fresh):
                if not ended:
                    yield from self.broken(name, length_s, begin, k)
                begin = -1
            if running and begin < 0:
                begin, ended = k, False
            if begin >= 0 and not ended and self.t[k] - self.t[begin] >= length_s - 1e-9:
                yield from self.ended(name, float(self.t[begin]) + length_s, k)
                ended = True

    def broken(self, name: str, length_s: float, begin: int, at: int) -> Iterator[str]:
        """A dwell that is broken off by sample `at` keeps away from its end."""
        end_s = self.t[begin] + length_s
        interval_s = max(self.t[at] - self.t[at - 1], 0.0) if self.joined[at] else 0.0
        if end_s < self.t[at - 1] + interval_s * (1 + TIMER_MARGIN) - _ROUNDING:
            yield (
                f"{name} {length_s:g} s, begun at t {self.t[begin]:g} s, is broken off at "
                f"t {self.t[at]:g} s, too shortly before its end at {end_s:g} s"
            )

    def ended(self, name: str, end_s: float, at: int) -> Iterator[str]:
        """A timer that ends at `end_s`, first seen at sample `at`, ends between two samples."""
        if at == 0 or not self.joined[at]:
            return
        before_s, after_s = float(self.t[at - 1]), float(self.t[at])
        margin_s = TIMER_MARGIN * (after_s - before_s) - _ROUNDING
        if not before_s + margin_s <= end_s <= after_s - margin_s:
            yield (
                f"{name} ends at {end_s:g} s, too near to one of the samples at "
                f"{before_s:g} s and {after_s:g} s"
            )

    # -- timers ----------------------------------------------------------------------------

    def holds(self) -> Iterator[str]:
        """The hold timer, and after it the confirmation and the wait."""
        for start in np.flatnonzero(self.entered).tolist():
            if self.stage[start] != "absorption":
                continue
            stop = start + 1
            while stop < len(self.t) and self.stage[stop] == "absorption" and self.joined[stop]:
                stop += 1
            # The sample that leaves absorption is the one on which a timer is seen to have ended.
            stop = min(stop + 1, len(self.t))
            if not self.joined[stop - 1]:
                stop -= 1
            yield from self.hold(start, stop)

    def hold(self, start: int, stop: int) -> Iterator[str]:
        """One hold over the samples `start` to `stop`."""
        s = self.settings
        low = self.v < self.level("sag_v")
        counted_s = 0.0
        for k in range(start + 1, stop):
            interval_s = float(self.t[k] - self.t[k - 1])
            if s.on_sag == "run" or not low[k - 1]:
                counted_s += interval_s
            if s.on_sag == "restart" and low[k]:
                if counted_s > s.hold_s - interval_s * TIMER_MARGIN:
                    yield f"the hold restarts at t {self.t[k]:g} s, too shortly before its end"
                counted_s = 0.0
            if counted_s >= s.hold_s - 1e-9:
                yield from self.ended("hold_s", float(self.t[k]) - (counted_s - s.hold_s), k)
                yield from self.confirmation(k, stop)
                return

    def confirmation(self, expired: int, stop: int) -> Iterator[str]:
        """Confirmation and wait after the hold ran out at sample `expired`."""
        s = self.settings
        full = self.v >= self.level("full_v")
        if s.taper_a is not None:
            full = full & (np.abs(self.i) <= s.taper_a)
        if s.confirm_s > 0:
            begin = -1
            for k in range(expired, stop):
                if not full[k]:
                    if begin >= 0:
                        yield from self.broken("confirm_s", s.confirm_s, begin, k)
                    begin = -1
                elif begin < 0:
                    begin = k
                if begin >= 0 and self.t[k] - self.t[begin] >= s.confirm_s - 1e-9:
                    yield from self.ended("confirm_s", float(self.t[begin]) + s.confirm_s, k)
                    break
        if s.on_unconfirmed == "wait":
            end_s = float(self.t[expired]) + s.wait_limit_s
            for k in range(expired, stop):
                if self.t[k] >= end_s - 1e-9:
                    yield from self.ended("wait_limit_s", end_s, k)
                    break

    def floats(self) -> Iterator[str]:
        """The float timer, from each entry into float and each backward step in it."""
        float_s = self.settings.float_s
        if float_s is None:
            return
        start_s = np.nan
        for k in range(len(self.t)):
            was_float = k > 0 and self.stage[k - 1] == "float" and not self.powered[k]
            if was_float and self.t[k] >= start_s + float_s - 1e-9:
                yield from self.ended("float_s", start_s + float_s, k)
                start_s = np.nan
            if self.stage[k] == "float" and (
                self.entered[k] or (k > 0 and self.t[k] < self.t[k - 1] - 1e-9)
            ):
                start_s = float(self.t[k])

    # -- equalisation and sensor -----------------------------------------------------------

    def equalisations(self) -> Iterator[str]:
        """How long each lasts, and when the schedule and the wait after one let the next begin."""
        s = self.settings
        if s.equalisation_v is None:
            return
        since_s, start_s, not_before_s = np.nan, np.nan, np.nan
        for k in range(len(self.t)):
            t = float(self.t[k])
            if self.powered[k] or k == 0:
                since_s, start_s, not_before_s = t, np.nan, np.nan
            was = k > 0 and self.stage[k - 1] == "equalisation" and not self.powered[k]
            if was and t >= start_s + s.equalisation_s - 1e-9:
                yield from self.ended("equalisation_s", start_s + s.equalisation_s, k)
                since_s, start_s, not_before_s = t, np.nan, np.nan
            elif was and self.stage[k] != "equalisation":
                not_before_s, start_s = t + s.equalisation_retry_s, np.nan
            if self.stage[k] == "equalisation" and self.entered[k]:
                start_s = t
            every_s = np.inf if s.equalisation_every_s is None else s.equalisation_every_s
            for name, end_s in (
                ("equalisation_every_s", since_s + every_s),
                ("equalisation_retry_s", not_before_s),
            ):
                floats = self.stage[k - 1] == "float" or self.stage[k] == "float"
                if k > 0 and floats and self.t[k - 1] < end_s - 1e-9 <= t:
                    yield from self.ended(name, end_s, k)

    def sensor(self) -> Iterator[str]:
        """When the temperature sensor is lost."""
        if self.settings.compensation_v_per_c == 0.0:
            return
        cold = self.samples.reading("temp_c")[self.kept]
        felt, ages = Felt(self.settings), []
        for k in range(len(self.t)):
            if self.powered[k]:
                felt = Felt(self.settings)
            felt.read(float(self.t[k]), float(cold[k]))
            known = not np.isnan(felt.temp_c)
            ages.append((k, felt.unread_s if known else 0.0, felt.unchanged_s if known else 0.0))
        for name, k, ago_s in ends_of_ages(self.settings, iter(ages)):
            yield from self.ended(name, float(self.t[k]) - ago_s, k)
