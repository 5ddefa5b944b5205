"""What a house draws, and when."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import InputError
from harness.world.daytime import seconds_of, written
from harness.world.loads import (
    GIVEN_UP,
    HELD_CHANGE,
    LOADS_STATE_ENTRIES,
    Appliance,
    LoadEvent,
    Loads,
    load_current,
)

SIX = 6 * 3600.0
DAY_S = 86_400.0


def test_an_oven_is_on_for_twenty_minutes() -> None:
    oven = LoadEvent(name="oven", power_w=2100.0, at="12:30", minutes=20.0)
    times, powers = Loads(base_w=100.0, events=(oven,)).course(SIX, 12 * 3600.0, seed=0)
    assert list(times) == [0.0, 23_400.0, 24_600.0]
    assert list(powers) == [100.0, 2200.0, 100.0]


def test_an_event_comes_every_day_or_on_one() -> None:
    daily = LoadEvent(name="oven", power_w=2000.0, at="12:30", minutes=20.0)
    once = LoadEvent(name="sauna", power_w=3000.0, at="07:00", minutes=60.0, day=2)
    times, powers = Loads(events=(daily, once)).course(0.0, 3 * DAY_S, seed=0)
    assert list(times[powers == 2000.0]) == [45_000.0, 131_400.0, 217_800.0]
    assert list(times[powers == 3000.0]) == [2 * DAY_S + 7 * 3600.0]


def test_what_is_on_at_the_start_is_on() -> None:
    oven = LoadEvent(name="oven", power_w=2000.0, at="05:50", minutes=20.0)
    times, powers = Loads(events=(oven,)).course(SIX, 3600.0, seed=0)
    assert times[-1] == 600.0
    assert powers[times == 0.0][-1] == 2000.0
    assert powers[-1] == 0.0


def test_what_overlaps_adds_up_and_the_inverter_takes_its_share() -> None:
    oven = LoadEvent(name="oven", power_w=2000.0, at="07:00", minutes=30.0)
    kettle = LoadEvent(name="kettle", power_w=1500.0, at="07:10", minutes=5.0)
    times, powers = Loads(base_w=50.0, events=(oven, kettle), efficiency=0.5).course(
        SIX, 2 * 3600.0, seed=0
    )
    assert list(powers) == [100.0, 4100.0, 7100.0, 4100.0, 100.0]
    assert list(times) == [0.0, 3600.0, 4200.0, 4500.0, 5400.0]


def test_an_appliance_is_switched_on_as_often_as_it_should_be_and_by_seed() -> None:
    kettle = Appliance(
        name="kettle", power_w=1800.0, minutes=4.0, per_day=6.0, from_time="07:00", to_time="20:00"
    )
    loads = Loads(appliances=(kettle,))
    times, powers = loads.course(0.0, 100 * DAY_S, seed=0)
    energy_wh = float(np.sum(powers[:-1] * np.diff(times))) / 3600.0
    assert energy_wh == pytest.approx(100 * 6 * 1800.0 * 4.0 / 60.0, rel=0.15)
    on = times[1:][np.diff(powers) > 0] % DAY_S
    assert on.min() >= 7 * 3600.0
    assert on.max() <= 20 * 3600.0
    assert np.all(np.diff(times) >= 0.0)
    again, _ = loads.course(0.0, 100 * DAY_S, seed=0)
    other, _ = loads.course(0.0, 100 * DAY_S, seed=1)
    assert np.array_equal(times, again)
    assert not np.array_equal(times, other)


def state() -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    fresh = np.zeros(LOADS_STATE_ENTRIES)
    fresh[HELD_CHANGE] = -1.0
    return fresh


def test_the_current_follows_the_power_and_the_bus() -> None:
    times, powers, never = np.array([0.0, 10.0]), np.array([520.0, 1040.0]), np.array([-np.inf] * 2)
    now = state()
    assert load_current(times, powers, never, now, 0.0, 52.0) == 10.0
    # Held within 0.1 % of the bus voltage, then worked out anew.
    assert load_current(times, powers, never, now, 1.0, 52.05) == 10.0
    assert load_current(times, powers, never, now, 2.0, 52.1) == pytest.approx(520.0 / 52.1)
    assert load_current(times, powers, never, now, 10.0, 52.1) == pytest.approx(1040.0 / 52.1)
    assert load_current(times, powers, never, now, 11.0, 0.0) == 0.0


def test_the_inverter_gives_up_and_comes_back() -> None:
    times, powers, cut_off = np.array([0.0]), np.array([500.0]), np.array([46.0, 50.0])
    now = state()
    drawn = [
        load_current(times, powers, cut_off, now, float(k), bus_v) > 0.0
        for k, bus_v in enumerate((48.0, 45.9, 48.0, 49.9, 50.0, 46.0))
    ]
    assert drawn == [True, False, False, False, True, True]
    assert now[GIVEN_UP] == 0.0


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"base_w": -1.0}, "base_w is -1"),
        ({"efficiency": 0.0}, "efficiency is 0"),
        ({"cut_off_v": 46.0}, "both of them"),
        ({"cut_off_v": 46.0, "back_v": 46.0}, "above cut_off_v"),
    ],
)
def test_loads_that_cannot_be_are_refused(given: dict[str, float], message: str) -> None:
    with pytest.raises(InputError, match=message):
        Loads(**given)  # type: ignore[arg-type]


def test_an_appliance_needs_an_evening_after_its_morning() -> None:
    with pytest.raises(InputError, match="after from_time"):
        Appliance(
            name="kettle", power_w=1.0, minutes=1.0, per_day=1.0, from_time="20:00", to_time="08:00"
        )


def test_times_of_day_are_read_and_written() -> None:
    assert seconds_of("12:30") == 45_000.0
    assert seconds_of("00:00:05") == 5.0
    assert seconds_of("24:00") == DAY_S
    assert written(45_000.0 + DAY_S) == "12:30:00"
    for wrong in ("7:30", "12:60", "24:01", "noon"):
        with pytest.raises(InputError, match="no time of day"):
            seconds_of(wrong)
