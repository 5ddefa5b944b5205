"""The sun and the clouds."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import InputError
from harness.world.sun import (
    Cloud,
    Clouds,
    DullDays,
    Sun,
    clear_sky_w_per_m2,
    cos_zenith,
    haurwitz_w_per_m2,
)

DAY_S = 86_400.0


def test_the_clear_sky_is_the_published_formula() -> None:
    # What `haurwitz` of pvlib 0.16.1 gave: zenith 0, 30, 60 and 85 degrees, and below the horizon.
    zenith = np.array([0.0, 30.0, 60.0, 85.0, 91.0])
    shown = haurwitz_w_per_m2(np.cos(np.radians(zenith)))
    assert shown == pytest.approx([1035.0920, 888.2713, 487.8941, 48.6299, 0.0], abs=1e-4)


def test_the_height_of_the_sun_at_noon() -> None:
    noon = np.array([0.5 * DAY_S])
    # Latitude 46.5: on the longest day 23.45 degrees higher than on an equinox.
    highest = np.degrees(np.arccos(cos_zenith(46.5, 172, noon)[0]))
    assert highest == pytest.approx(46.5 - 23.45, abs=0.01)
    assert np.degrees(np.arccos(cos_zenith(46.5, 81, noon)[0])) == pytest.approx(46.5, abs=0.5)
    # Twelve hours on an equinox, all day in the north in June, none in December.
    minutes = np.arange(0.0, 86_400.0, 60.0)
    assert np.mean(clear_sky_w_per_m2(46.5, 81, minutes) > 0.0) == pytest.approx(0.5, abs=0.01)
    assert np.all(clear_sky_w_per_m2(80.0, 172, minutes) > 0.0)
    assert np.all(clear_sky_w_per_m2(80.0, 355, minutes) == 0.0)


def test_the_power_of_a_clear_day() -> None:
    sun = Sun(peak_w=2000.0, latitude_deg=46.5, day_of_year=172)
    power = sun.power_w(0.0, DAY_S, seed=0)
    assert len(power) == 1441
    assert np.argmax(power) in (719, 720)
    assert power.max() == pytest.approx(2.0 * 1098.0 * 0.9201 * np.exp(-0.059 / 0.9201), rel=1e-3)
    assert power[0] == power[-1] == 0.0
    assert np.array_equal(power, sun.power_w(0.0, DAY_S, seed=1))
    # A start in the morning is the same day, cut off.
    assert np.array_equal(sun.power_w(6 * 3600.0, 3600.0, seed=0), power[360:421])


def test_clouds_let_through_their_share_and_come_by_seed() -> None:
    clear = Sun(peak_w=1000.0).power_w(0.0, 30 * DAY_S, seed=0)
    clouds = Clouds(clear_s=900.0, clouded_s=300.0, transmission=0.25, spread=0.0)
    power = Sun(peak_w=1000.0, clouds=clouds).power_w(0.0, 30 * DAY_S, seed=0)
    by_day = clear > 1.0
    share = power[by_day] / clear[by_day]
    assert set(np.round(share, 9)) == {0.25, 1.0}
    assert np.mean(share < 1.0) == pytest.approx(0.25, abs=0.03)
    other = Sun(peak_w=1000.0, clouds=clouds).power_w(0.0, 30 * DAY_S, seed=1)
    assert not np.array_equal(power, other)
    spread = Clouds(clear_s=900.0, clouded_s=300.0, transmission=0.9, spread=0.4)
    varied = Sun(peak_w=1000.0, clouds=spread).power_w(0.0, 30 * DAY_S, seed=0)[by_day]
    shares = varied / clear[by_day]
    assert shares.max() <= 1.0
    assert shares.min() < 0.6


def test_a_cloud_at_a_set_time() -> None:
    clear = Sun(peak_w=1000.0).power_w(0.0, 2 * DAY_S, seed=0)
    passing = (Cloud(at="12:00", minutes=10.0, transmission=0.2, day=1),)
    power = Sun(peak_w=1000.0, passing=passing).power_w(0.0, 2 * DAY_S, seed=0)
    covered = np.flatnonzero(power != clear)
    assert list(covered) == list(range(1440 + 720, 1440 + 730))
    assert power[covered] == pytest.approx(0.2 * clear[covered])
    daily = (Cloud(at="12:00", minutes=10.0),)
    both = Sun(peak_w=1000.0, passing=daily).power_w(0.0, 2 * DAY_S, seed=0)
    assert np.count_nonzero(both != clear) == 20


def test_a_sun_that_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="latitude_deg is 91"):
        Sun(peak_w=1000.0, latitude_deg=91.0)
    with pytest.raises(InputError, match="day_of_year is 0"):
        Sun(peak_w=1000.0, day_of_year=0)
    with pytest.raises(InputError, match="HH:MM"):
        Cloud(at="25:00", minutes=3.0)


def test_dull_days_have_their_share_and_come_in_spells() -> None:
    days = 20_000
    shares = DullDays(share=0.3, spell_days=3.0, transmission=0.2, spread=0.1).transmitted(days, 4)
    dull = shares < 1.0
    assert np.mean(dull) == pytest.approx(0.3, abs=0.02)
    ends = np.count_nonzero(dull[:-1] & ~dull[1:])
    assert np.count_nonzero(dull) / ends == pytest.approx(3.0, rel=0.05)
    assert shares[dull].min() >= 0.1
    assert shares[dull].max() <= 0.3
    assert np.mean(shares[dull]) == pytest.approx(0.2, abs=0.005)


def test_a_dull_day_is_dull_from_midnight_to_midnight() -> None:
    clear = Sun(peak_w=1000.0).power_w(6 * 3600.0, 20 * DAY_S, seed=3)
    sun = Sun(peak_w=1000.0, dull_days=DullDays(share=0.5, spell_days=1.5))
    power = sun.power_w(6 * 3600.0, 20 * DAY_S, seed=3)
    day = (6 * 3600.0 + 60.0 * (np.arange(len(power)) + 0.5)) // DAY_S
    lit = clear > 1.0
    shares_then = np.round(power[lit] / clear[lit], 9)
    of_a_day = [set(shares_then[day[lit] == d]) for d in range(20)]
    assert {len(shares) for shares in of_a_day} == {1}
    assert {1.0} in of_a_day
    assert any(min(shares) < 0.5 for shares in of_a_day)


def test_spells_without_room_are_refused() -> None:
    with pytest.raises(InputError, match=r"spell_days: spells of 1 days .*; at least 4 days"):
        DullDays(share=0.8, spell_days=1.0)
