"""What a meter shows of true values."""

from __future__ import annotations

from math import isnan, nan
from typing import Any

import numba
import numpy as np
import pytest

from harness.errors import InputError
from harness.world.chance import SLICES, stream_key, two_normal, uniform
from harness.world.meter import (
    READ_A,
    READ_CELL_V,
    READ_COLDEST_C,
    READ_HOTTEST_C,
    READ_V,
    READING_COLUMNS,
    STAMP_S,
    TRUE_S,
    Meter,
    due_s,
    meters_of,
    quantised,
    read_meter,
    steps_per_unit,
)

TRUE: dict[str, float] = {"v": 55.803, "i": 10.0, "cell": 3.4879, "cold": 20.0, "hot": 24.0}


@numba.njit
def _read(meters: Any, number: int, t: float, true: Any, reading: Any) -> bool:
    return read_meter(meters, 0, number, t, true[0], true[1], true[2], true[3], true[4], reading)


def read(meter: Meter, *, number: int = 1, t: float = 1.0, seed: int = 0, **true: float) -> Any:
    """The reading of one sample; None where it does not arrive."""
    values = {**TRUE, **true}
    reading = np.full(READING_COLUMNS, nan)
    arrives = _read(meters_of([meter], seed), number, t, np.array(list(values.values())), reading)
    return reading if arrives else None


def test_an_exact_meter_shows_what_is() -> None:
    reading = read(Meter())
    assert list(reading) == [1.0, 55.803, 10.0, 3.4879, 20.0, 24.0, 1.0]


def test_gain_offset_and_drift() -> None:
    meter = Meter(
        voltage_offset_v=0.02,
        voltage_gain=1.001,
        voltage_drift_v_per_day=0.001,
        current_offset_a=-0.3,
        current_gain=0.99,
        current_drift_a_per_day=0.1,
        cell_offset_v=0.005,
        temperature_offset_c=-1.5,
    )
    reading = read(meter, t=10 * 86_400.0)
    assert reading[READ_V] == pytest.approx(55.803 * 1.001 + 0.02 + 0.01, abs=1e-12)
    assert reading[READ_A] == pytest.approx(9.9 - 0.3 + 1.0, abs=1e-12)
    assert reading[READ_CELL_V] == pytest.approx(3.4929, abs=1e-12)
    assert (reading[READ_COLDEST_C], reading[READ_HOTTEST_C]) == (18.5, 22.5)


def test_steps_of_ten_millivolts_are_decimal_numbers() -> None:
    # 5580 steps are the entry voltage of the settings to the last bit, not one ulp beside it.
    assert read(Meter(voltage_step_v=0.01))[READ_V] == 55.8
    assert read(Meter(voltage_step_v=0.01), v=55.806)[READ_V] == 55.81
    assert read(Meter(current_step_a=0.1), i=-3.26)[READ_A] == -3.3
    assert read(Meter(cell_step_v=0.001))[READ_CELL_V] == 3.488
    assert steps_per_unit(0.03) == pytest.approx(33.3333333)
    assert quantised(1.0, steps_per_unit(0.03)) == pytest.approx(0.99)


def test_noise_has_its_deviation_and_another_seed_another_noise() -> None:
    meter = Meter(voltage_noise_v=0.01, current_noise_a=0.2)
    shown = np.array([read(meter, number=k)[[READ_V, READ_A]] for k in range(1, 4001)])
    error = shown - np.array([TRUE["v"], TRUE["i"]])
    assert np.all(np.abs(error.mean(axis=0)) < 4.0 * np.array([0.01, 0.2]) / np.sqrt(4000))
    assert error.std(axis=0) == pytest.approx([0.01, 0.2], rel=0.05)
    assert abs(np.corrcoef(error.T)[0, 1]) < 4.0 / np.sqrt(4000)
    assert read(meter)[READ_V] == read(meter)[READ_V]
    assert read(meter)[READ_V] != read(meter, seed=1)[READ_V]


def test_the_clock_drifts_and_wraps() -> None:
    assert read(Meter(clock_drift_ppm=100.0), t=86_400.0)[STAMP_S] == pytest.approx(86_408.64)
    assert read(Meter(clock_offset_s=500.0), t=3.0)[STAMP_S] == 503.0
    wrapped = read(Meter(clock_offset_s=65_000.0, clock_wrap_s=65_536.0), t=1000.0)
    assert wrapped[STAMP_S] == 464.0
    assert wrapped[TRUE_S] == 1000.0


def test_what_is_not_read_is_missing() -> None:
    reading = read(Meter(reads_cells=False, reads_temperature=False))
    assert all(isnan(reading[k]) for k in (READ_CELL_V, READ_COLDEST_C, READ_HOTTEST_C))


def test_samples_go_missing_or_arrive_unreadable_in_their_shares() -> None:
    meter = Meter(missing_probability=0.1, unreadable_probability=0.2)
    readings = [read(meter, number=k) for k in range(1, 4001)]
    missing = sum(reading is None for reading in readings)
    unreadable = sum(reading is not None and isnan(reading[READ_V]) for reading in readings)
    assert missing == pytest.approx(400, abs=80)
    assert unreadable == pytest.approx(720, abs=105)
    assert all(
        isnan(r[READ_A]) and r[READ_CELL_V] == TRUE["cell"]
        for r in readings
        if r is not None and isnan(r[READ_V])
    )
    assert all(read(Meter(missing_probability=1.0), number=k) is None for k in range(1, 50))


def test_nothing_arrives_in_an_outage() -> None:
    meter = Meter(outages=((10.0, 20.0), (30.0, 31.0)))
    arrives = [t for t in (9.0, 10.0, 19.0, 20.0, 30.5, 31.0) if read(meter, t=t) is not None]
    assert arrives == [9.0, 20.0, 31.0]


def test_sampling_instants_have_phase_and_jitter() -> None:
    meters = meters_of([Meter(interval_s=2.0, phase_s=0.5)], 0)
    assert [due_s(meters, 0, k) for k in (1, 2, 3)] == [2.5, 4.5, 6.5]
    shaky = meters_of([Meter(interval_s=2.0, jitter_s=0.4)], 0)
    off = np.array([due_s(shaky, 0, k) - 2.0 * k for k in range(1, 2001)])
    assert np.all(np.abs(off) <= 0.4)
    assert off.min() < -0.39
    assert off.max() > 0.39


@pytest.mark.parametrize(
    ("field", "value", "right"),
    [
        ("interval_s", 0.0, "above 0"),
        ("jitter_s", 0.5, "less than half of interval_s"),
        ("voltage_noise_v", -0.01, "from 0"),
        ("missing_probability", 1.5, "from 0 up to 1"),
        ("clock_wrap_s", 0.0, "above 0"),
        ("voltage_gain", nan, "from 0.5 up to 2"),
        ("outages", ((5.0, 3.0),), "the earlier first"),
        ("outages", ((5.0,),), "two times in s"),
    ],
)
def test_a_meter_that_cannot_be_is_refused(field: str, value: Any, right: str) -> None:
    with pytest.raises(InputError, match=right) as caught:
        Meter(**{field: value})
    assert caught.value.column == field


def test_random_numbers_are_even_and_normal() -> None:
    key = stream_key(7, 1)
    even = np.array([uniform(key, k) for k in range(20_000)])
    assert np.all((even > 0.0) & (even < 1.0))
    counts, _ = np.histogram(even, bins=20, range=(0.0, 1.0))
    # Chi-square with 19 degrees of freedom: beyond 43.8 in one of a thousand cases.
    assert float(np.sum((counts - 1000.0) ** 2 / 1000.0)) < 43.8
    pairs = np.array([two_normal(key, k) for k in range(20_000)])
    assert pairs.mean(axis=0) == pytest.approx([0.0, 0.0], abs=0.03)
    assert pairs.std(axis=0) == pytest.approx([1.0, 1.0], abs=0.02)
    # 68.27, 95.45 and 99.73 % of a normal law lie within one, two and three deviations.
    inside = [np.mean(np.abs(pairs) < width) for width in (1.0, 2.0, 3.0)]
    assert inside == pytest.approx([0.6827, 0.9545, 0.9973], abs=0.01)
    assert abs(np.corrcoef(pairs.T)[0, 1]) < 0.03
    assert SLICES == 8192


def test_streams_of_another_purpose_have_nothing_in_common() -> None:
    assert stream_key(3, 1, 0) == stream_key(3, 1, 0)
    keys = {stream_key(seed, purpose, p) for seed in (0, 1) for purpose in (1, 2) for p in (0, 1)}
    assert len(keys) == 8


def test_the_stream_is_the_published_generator() -> None:
    # SplitMix64 started at 1234567, the values that are given with the reference code in C.
    published = (6457827717110365317, 3203168211198807973, 9817491932198370423)
    expected = [((value >> 11) + 0.5) / 2**53 for value in published]
    assert [uniform(np.uint64(1234567), k) for k in range(3)] == expected
