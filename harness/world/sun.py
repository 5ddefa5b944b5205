"""What the sun gives: clear days by a published formula, clouds and dull days by seeded chances.

Clear sky: global horizontal irradiance by Haurwitz, `1098 cos z · exp(-0.059 / cos z)` W/m² (Journal
of Meteorology 2, 1945, with the constants as coded in pvlib 0.16.1); the sun's height by the
declination of Cooper (1969) and the hour angle of true solar time. The panels lie flat. The power is held
over each interval, so that it changes in small steps.
"""

from __future__ import annotations

from functools import lru_cache
from math import radians

import numpy as np
import numpy.typing as npt
from attrs import field, frozen
from attrs.validators import optional

from harness.errors import InputError
from harness.world.chance import stream_generator
from harness.world.checks import number_within, positive, whole_within
from harness.world.daytime import DAY_S, seconds_of, time_of_day

Floats = npt.NDArray[np.float64]
SUN_STREAM, DULL_STREAM = 3, 5
STANDARD_W_PER_M2 = 1000.0


@frozen(kw_only=True)
class Clouds:
    """Weather that changes between clear and clouded at random.

    Attributes:
        clear_s: mean length of a clear stretch, s.
        clouded_s: mean length of a clouded one, s.
        transmission: mean share of the clear-sky power that a cloud lets through.
        spread: by how much a cloud may differ from that mean, evenly distributed.
    """

    clear_s: float = field(default=900.0, validator=positive("s"))
    clouded_s: float = field(default=300.0, validator=positive("s"))
    transmission: float = field(default=0.25, validator=number_within(0.0, 1.0, "(a fraction)"))
    spread: float = field(default=0.15, validator=number_within(0.0, 1.0, "(a fraction)"))


@frozen(kw_only=True)
class DullDays:
    """Days on which the sky stays grey, in spells: what a day is depends on the day before.

    Attributes:
        share: how many of all days are dull, in the long run.
        spell_days: mean length of a spell of dull days.
        transmission: mean share of the power that a dull day lets through, on top of the clouds.
        spread: by how much a dull day may differ from that mean, evenly distributed.

    Raises:
        InputError: spells so short that there is no room for so many dull days.
    """

    share: float = field(default=0.3, validator=number_within(0.0, 0.95, "(a fraction)"))
    spell_days: float = field(default=2.0, validator=number_within(1.0, 1000.0, "days"))
    transmission: float = field(default=0.25, validator=number_within(0.0, 1.0, "(a fraction)"))
    spread: float = field(default=0.15, validator=number_within(0.0, 1.0, "(a fraction)"))

    def __attrs_post_init__(self) -> None:
        if self.begin_probability > 1.0:
            raise InputError(
                f"spells of {self.spell_days:g} days for a share of {self.share:g}",
                column="spell_days",
                hint=f"at least {self.share / (1.0 - self.share):.3g} days",
            )

    @property
    def begin_probability(self) -> float:
        """With which probability a dull day follows one that is not."""
        return self.share / (1.0 - self.share) / self.spell_days

    def transmitted(self, days: int, seed: int) -> Floats:
        """What each of so many days lets through, a share; shape (days,)."""
        draw = stream_generator(seed, DULL_STREAM)
        chances = draw.uniform(size=days)
        deviations = self.spread * draw.uniform(-1.0, 1.0, size=days)
        shares = np.ones(days)
        dull = chances[0] < self.share
        for day in range(days):
            if day > 0:
                dull = chances[day] < (
                    1.0 - 1.0 / self.spell_days if dull else self.begin_probability
                )
            if dull:
                shares[day] = min(max(self.transmission + deviations[day], 0.0), 1.0)
        return shares


@frozen(kw_only=True)
class Cloud:
    """One cloud at a set time.

    Attributes:
        at: time of day, `HH:MM`.
        minutes: how long it stays.
        transmission: share of the clear-sky power that it lets through.
        day: on which day, from 0; None for every day.
    """

    at: str = field(validator=time_of_day)
    minutes: float = field(validator=positive("min"))
    transmission: float = field(default=0.2, validator=number_within(0.0, 1.0, "(a fraction)"))
    day: int | None = field(default=None, validator=optional(whole_within(0, 100_000)))


@frozen(kw_only=True)
class Sun:
    """Panels that lie flat somewhere, and the weather there.

    Attributes:
        peak_w: power of the panels at 1000 W/m², W.
        latitude_deg: degrees north.
        day_of_year: of the first day, 1 to 365.
        clouds: random clouds; None for a clear sky.
        dull_days: random spells of dull days; None for no such days.
        passing: clouds at set times, on top of that.
        interval_s: how long the power is held, s.

    Raises:
        InputError: a value that no place has.
    """

    peak_w: float = field(validator=positive("W"))
    latitude_deg: float = field(default=46.5, validator=number_within(-90.0, 90.0, "°"))
    day_of_year: int = field(default=172, validator=whole_within(1, 365))
    clouds: Clouds | None = None
    dull_days: DullDays | None = None
    passing: tuple[Cloud, ...] = ()
    interval_s: float = field(default=60.0, validator=positive("s"))

    def power_w(self, start_s: float, duration_s: float, seed: int) -> Floats:
        """Power of the panels in each interval, W; shape (intervals,).

        Args:
            start_s: when the first interval begins, s since midnight of the first day.
            duration_s: how long is wanted, s.
            seed: of the random clouds.
        """
        count = int(np.ceil(duration_s / self.interval_s)) + 1
        at_s = _middles_s(start_s, self.interval_s, count)
        clear = _clear_sky(self.latitude_deg, self.day_of_year, start_s, self.interval_s, count)
        power: Floats = self.peak_w / STANDARD_W_PER_M2 * clear
        if self.clouds is not None:
            power *= _transmitted(self.clouds, at_s - start_s, seed)
        if self.dull_days is not None:
            day = (at_s // DAY_S).astype(np.int64)
            power *= self.dull_days.transmitted(int(day[-1]) + 1, seed)[day]
        for cloud in self.passing:
            from_s = seconds_of(cloud.at)
            since_s = at_s % DAY_S if cloud.day is None else at_s - DAY_S * cloud.day
            covered = (since_s >= from_s) & (since_s < from_s + 60.0 * cloud.minutes)
            power[covered] *= cloud.transmission
        return power


def cos_zenith(latitude_deg: float, day_of_year: int, at_s: Floats) -> Floats:
    """Cosine of the sun's angle from the vertical, of an array of s since midnight of that day."""
    day = day_of_year + np.floor(at_s / DAY_S)
    declination = radians(23.45) * np.sin(2.0 * np.pi / 365.0 * (284.0 + day))
    hour_angle = 2.0 * np.pi * (at_s / DAY_S - 0.5)
    latitude = radians(latitude_deg)
    cosine: Floats = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(
        declination
    ) * np.cos(hour_angle)
    return cosine


def haurwitz_w_per_m2(cosine: Floats) -> Floats:
    """Irradiance of a flat surface under a clear sky, W/m², of the cosine of the zenith angle."""
    up = np.maximum(cosine, 1e-9)
    irradiance: Floats = np.where(cosine > 0.0, 1098.0 * up * np.exp(-0.059 / up), 0.0)
    return irradiance


def clear_sky_w_per_m2(latitude_deg: float, day_of_year: int, at_s: Floats) -> Floats:
    """Clear-sky irradiance of a flat surface, W/m²; `at_s` as in `cos_zenith`."""
    return haurwitz_w_per_m2(cos_zenith(latitude_deg, day_of_year, at_s))


def _middles_s(start_s: float, interval_s: float, count: int) -> Floats:
    """The middle of each interval, which stands for it, s since midnight of the first day."""
    middles: Floats = start_s + interval_s * (np.arange(count, dtype=np.float64) + 0.5)
    return middles


@lru_cache(maxsize=2)
def _clear_sky(
    latitude_deg: float, day_of_year: int, start_s: float, interval_s: float, count: int
) -> Floats:
    """`clear_sky_w_per_m2` of each interval: many banks stand under the same sky."""
    clear = clear_sky_w_per_m2(latitude_deg, day_of_year, _middles_s(start_s, interval_s, count))
    clear.flags.writeable = False
    return clear


def _transmitted(clouds: Clouds, at_s: Floats, seed: int) -> Floats:
    """What the clouds let through at each of these times, a share; the sky is clear at first."""
    draw = stream_generator(seed, SUN_STREAM)
    # A year has tens of thousands of clouds: what is called for each of them is looked up once.
    length, chance = draw.standard_exponential, draw.random
    mean_s, least, reach = (clouds.clouded_s, clouds.clear_s), clouds.transmission, clouds.spread
    edges, shares = [0.0], [1.0]
    edge_s, end_s, clear = 0.0, float(at_s[-1]), True
    while edge_s <= end_s:
        edge_s += mean_s[clear] * length()
        share = least + reach * (-1.0 + 2.0 * chance())
        edges.append(edge_s)
        shares.append(1.0 if not clear else min(max(share, 0.0), 1.0))
        clear = not clear
    share_then: Floats = np.array(shares)[np.searchsorted(edges, at_s, side="right") - 1]
    return share_then
