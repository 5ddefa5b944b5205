"""Chargers that differ from the reference and keep the rules: none of them may raise a finding."""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite

from attrs import evolve

from ctrl.charger import ChargerOutput, ChargerSample, ChargerSettings, ChargerState, Conduct
from harness.charger.faults.altered import Altered, Turned

FOLLOWING = Conduct.FOLLOWING


class Gentle(Altered):
    """It raises voltage and current three times as slowly as it may."""

    def set_to(self) -> ChargerSettings:
        """The same settings with gentler slopes."""
        s = self.settings
        return s.changed(raise_v_per_s=s.raise_v_per_s / 3, raise_a_per_s=s.raise_a_per_s / 3)


class CarefulInFallback(Altered):
    """In fallback it gives a tenth of a volt and half of the current less than it may."""

    def set_to(self) -> ChargerSettings:
        """The same settings with a lower fallback."""
        s = self.settings
        return s.changed(fallback_v=s.fallback_v - 0.1, fallback_a=s.fallback_a / 2)


class SlowIntegral(Altered):
    """Its integral takes twice as long."""

    def set_to(self) -> ChargerSettings:
        """The same settings with a longer time constant."""
        return self.settings.changed(sense_time_s=2.0 * self.settings.sense_time_s)


class TwoPointSense(Altered):
    """It compensates at the whole rate towards what is lacking, and not where little is lacking."""

    def turns(self, before: ChargerState, sample: ChargerSample) -> Turned:
        """One step, with another law."""
        after, output = super().turns(before, sample)
        s = self.settings
        moved_v = after.compensation_v - before.compensation_v
        if not before.conduct is after.conduct is FOLLOWING or moved_v == 0.0:
            return after, output
        lacking_v = before.base_v - max(m.pack_v for m in sample.messages)
        if abs(lacking_v) <= s.sense_error_v / 2 or moved_v * lacking_v < 0.0:
            compensation_v = min(before.compensation_v, after.compensation_v)
            if lacking_v < 0.0:
                compensation_v = before.compensation_v
        else:
            most_v = s.compensation_v_per_s * max(sample.t - before.t, 0.0)
            step_v = min(most_v, abs(lacking_v)) * (1.0 if lacking_v > 0.0 else -1.0)
            bound_v = s.compensation_v
            compensation_v = min(max(before.compensation_v + step_v, -bound_v), bound_v)
        compensation_v = min(compensation_v, s.highest_v - after.base_v)
        after = evolve(after, compensation_v=compensation_v)
        return after, evolve(output, set_point_v=after.base_v + compensation_v)


class GivesUpCompensation(Altered):
    """It takes a positive compensation off, slowly, wherever it learns nothing."""

    def turns(self, before: ChargerState, sample: ChargerSample) -> Turned:
        """One step, and a little less where nothing has moved."""
        after, output = super().turns(before, sample)
        kept_v = after.compensation_v
        if not kept_v == before.compensation_v > 0.0 or not isfinite(sample.t):
            return after, output
        passed_s = min(max(sample.t - before.t, 0.0), self.settings.max_gap_s)
        less_v = max(kept_v - self.settings.compensation_v_per_s * passed_s / 4, 0.0)
        after = evolve(after, compensation_v=less_v)
        set_v = min(after.base_v + less_v, self.settings.highest_v)
        return after, evolve(output, set_point_v=set_v)


class BeginsFromNothing(Altered):
    """Each time that it follows anew the current begins at 0 A."""

    def turns(self, before: ChargerState, sample: ChargerSample) -> Turned:
        """One step, and no current where it begins to follow."""
        after, output = super().turns(before, sample)
        if after.conduct is FOLLOWING and before.conduct is not FOLLOWING:
            after = evolve(after, limit_a=0.0)
        return after, evolve(output, limit_a=after.limit_a)


class WholeNumbers(Altered):
    """It answers in whole millivolts and milliamperes."""

    def says(
        self, _before: ChargerOutput, _sample: ChargerSample, is_: ChargerOutput
    ) -> ChargerOutput:
        """The same, rounded down."""
        return evolve(
            is_,
            set_point_v=int(is_.set_point_v * 1000.0 + 1e-6) / 1000.0,
            limit_a=int(is_.limit_a * 1000.0 + 1e-6) / 1000.0,
        )


class ZeroInTime(Altered):
    """It takes as long as it may to obey a request of 0 A, and gives no more meanwhile."""

    def says(
        self, before: ChargerOutput, sample: ChargerSample, is_: ChargerOutput
    ) -> ChargerOutput:
        """The current of before, until it is time."""
        if not isfinite(sample.t):
            return before
        zero = any(heard.request_a == 0.0 for heard in self.state.packs)
        since_s = self.notes.get("zero_since_s") if zero else None
        if zero and (since_s is None or sample.t < since_s):
            since_s = sample.t
        self.notes["zero_since_s"] = since_s
        both = before.state is is_.state is FOLLOWING
        if since_s is None or not both or sample.t - since_s >= self.settings.zero_s - 1e-9:
            return is_
        return evolve(is_, limit_a=before.limit_a)


VARIANTS: dict[str, Callable[[ChargerSettings], Altered]] = {
    "gentle": Gentle,
    "careful-in-fallback": CarefulInFallback,
    "slow-integral": SlowIntegral,
    "two-point-sense": TwoPointSense,
    "gives-up-compensation": GivesUpCompensation,
    "begins-from-nothing": BeginsFromNothing,
    "whole-numbers": WholeNumbers,
    "zero-in-time": ZeroInTime,
}
