"""Compensation of the line: the set-point is moved until the packs read what they asked for.

Theory of operation
-------------------

Between the terminals of a charger and those of a pack lie cables and two meters that differ. The pack
reads, and its controller decides by, its own voltage. So the charger adds to its set-point whatever
is missing there. It does not know the resistance of the line: it integrates what the highest
reading of a pack lacks, slowly, in small bounds, and only while it learns something by it.

**Closed form.** Let the charger hold `V_set` behind a line of resistance R, and let the pack be a
source E behind a resistance r. Then

    I = (V_set - E) / (R + r)                      V_pack = E + r * I
    dV_pack / dV_set = r / (R + r) = G

With an integral of time constant T, dV_set/dt = (V_asked - V_pack) / T, the error e = V_asked -
V_pack follows de/dt = -(G / T) * e, so that

    e(t) = e(0) * exp(-t / tau')                   tau' = T / G = T * (R + r) / r

It always decays, whatever the line, never faster than with T, and slower the more of the whole
resistance lies in the line: the pack with the thin cable is the slow one. Where the current is set
by something else and V_pack = V_set - I * R with I constant, G = 1 and tau' = T. In steps of dt the
error is multiplied by 1 - x, x = dt / tau'; it differs from the closed form by less than
|e(0)| * (x / 2) * exp(x - 1), and it cannot swing while dt <= T, as the settings demand.

**When it moves.** Readings must be good, and nothing else may hold the bus above the set-point, such as
another charger, or a pack that relaxes after its request was lowered: what is read then says nothing
about this line. Upward, the set-point must also be what bounds the charge. At the current limit, or
with too little sun, no set-point makes the pack read more; the integral would run to its bound, and
the pack would get all of it as soon as the current falls. Downward that is not asked: a pack above
what it asked for is reason enough.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

from ctrl.charger.hearing import believable_a, believable_v
from ctrl.charger.settings import ChargerSettings
from ctrl.charger.state import ChargerSample, ChargerState

# A current this near to its limit is bounded by it.
AT_LIMIT_SHARE = 0.02
AT_LIMIT_A = 0.1


def set_point(settings: ChargerSettings, base_v: float, compensation_v: float) -> float:
    """The set-point that is given, V."""
    return min(base_v + compensation_v, settings.highest_v)


def compensated(
    settings: ChargerSettings,
    before: ChargerState,
    sample: ChargerSample,
    readings_v: Sequence[float],
    interval_s: float,
) -> float:
    """The compensation after an interval through which the charger has been following, V.

    Args:
        settings: the charger's settings.
        before: set-point, limit and compensation that were in force over the interval.
        sample: what is read at its end.
        readings_v: voltage of each pack at its end, V; NaN where there is no good reading.
        interval_s: its length, s.
    """
    kept_v = before.compensation_v
    if not (
        before.limit_a > 0.0
        and believable_v(settings, sample.own_v)
        and believable_a(settings, sample.own_a)
        and all(isfinite(reading_v) for reading_v in readings_v)
    ):
        return kept_v
    lacking_v = before.base_v - max(readings_v)
    above_v = sample.own_v - set_point(settings, before.base_v, kept_v)
    if above_v > settings.regulation_v:
        return kept_v
    if lacking_v > 0.0 and not (
        above_v >= -settings.regulation_v
        and sample.own_a < before.limit_a - max(AT_LIMIT_SHARE * before.limit_a, AT_LIMIT_A)
    ):
        return kept_v
    most_v = settings.compensation_v_per_s * interval_s
    moved_v = min(max(lacking_v * interval_s / settings.sense_time_s, -most_v), most_v)
    return min(max(kept_v + moved_v, -settings.compensation_v), settings.compensation_v)
