"""Protection, sentence by sentence; every expectation worked by hand.

The limits themselves are common practice, no source; a cell maker's limits come first.
"""

from __future__ import annotations

from math import inf
from typing import Any

import pytest

from tests.unit.told import Rows, steady, tell

HIGH = 56.0
LIMIT, UNDER_LIMIT, RELEASE, OVER_RELEASE = 3.65, 3.6499, 3.5, 3.5001


def cells(begin: int, end: int, cell_max_v: float | None, v: float = 54.0) -> Rows:
    return steady(begin, end, v, 0.0, cell_max_v)


def temps(begin: int, end: int, *temp_c: float | None, v: float = 54.0) -> Rows:
    return steady(begin, end, v, 0.0, None, *temp_c)


# Trip.


def test_cell_at_its_limit_for_the_dwell_trips() -> None:
    told = tell(cells(0, 4, LIMIT))
    assert told.stages == "bbiii"
    assert told.events == ["2 inhibited cell_voltage b>i"]


def test_cell_under_its_limit_does_not_trip() -> None:
    assert tell(cells(0, 50, UNDER_LIMIT)).stages == "b" * 51


@pytest.mark.parametrize(
    ("readings", "trips"),
    [
        ((-0.001,), True),
        ((0.0,), False),
        ((45.0,), False),
        ((45.001,), True),
        ((20.0, 45.001), True),
        ((20.0, 45.0), False),
        # The hottest reading is `temp_max_c` where it is there, the coldest always `temp_c`.
        ((46.0, 45.0), False),
        ((-0.001, 20.0), True),
        ((None, 45.001), True),
        ((None, -5.0), False),
        ((46.0, inf), True),
    ],
)
def test_temperature_outside_its_limits_trips(
    readings: tuple[float | None, ...], trips: bool
) -> None:
    told = tell(temps(0, 2, *readings))
    assert told.events == (["2 inhibited temperature b>i"] if trips else [])


def test_cold_and_hot_are_one_cause_with_one_dwell() -> None:
    rows = [*temps(0, 0, -1.0), *temps(1, 1, 46.0), *temps(2, 2, -1.0)]
    assert tell(rows).stages == "bbi"


def test_each_cause_has_its_own_dwell() -> None:
    # Cell high at 0 s and 1 s, temperature high at 1 s and 2 s: neither stands for 2 s.
    rows: Rows = [
        (0, 54.0, 0.0, LIMIT, 20.0),
        (1, 54.0, 0.0, LIMIT, 46.0),
        (2, 54.0, 0.0, 3.4, 46.0),
        (3, 54.0, 0.0, 3.4, 20.0),
    ]
    assert tell(rows).stages == "bbbb"


def test_both_causes_on_one_sample_are_one_event_by_the_cell() -> None:
    told = tell(steady(0, 2, 54.0, 0.0, LIMIT, 46.0))
    assert told.events == ["2 inhibited cell_voltage b>i"]


@pytest.mark.parametrize("absent", [None, inf, -inf])
def test_absent_reading_breaks_a_trip_dwell(absent: float | None) -> None:
    rows = [*cells(0, 1, LIMIT), *cells(2, 2, absent), *cells(3, 4, LIMIT)]
    assert tell(rows).stages == "bbbbb"
    rows = [*temps(0, 1, -1.0), *temps(2, 2, absent), *temps(3, 4, -1.0)]
    assert tell(rows).stages == "bbbbb"


def test_absent_readings_never_trip() -> None:
    for absent in (None, inf, -inf):
        assert tell(steady(0, 20, 54.0, 0.0, absent, absent, absent)).stages == "b" * 21


def test_gap_breaks_a_trip_dwell() -> None:
    rows = [*cells(0, 1, LIMIT), *cells(60, 62, LIMIT)]
    assert tell(rows).events == ["62 inhibited cell_voltage b>i"]


def test_trip_dwell_of_zero_needs_one_sample() -> None:
    assert tell(cells(0, 0, LIMIT), trip_dwell_s=0).stages == "i"


def test_trip_dwell_runs_across_a_change_of_stage() -> None:
    # The hold starts at 3 s; the cell is high from 2 s on.
    rows = [*cells(0, 1, 3.4, HIGH), *cells(2, 4, LIMIT, HIGH)]
    told = tell(rows)
    assert told.events == ["3 hold_started b>a", "4 inhibited cell_voltage a>i"]


def test_limits_that_are_off_never_trip() -> None:
    off: dict[str, Any] = {"cell_limit_v": None, "charge_min_c": None, "charge_max_c": None}
    assert tell(steady(0, 9, 54.0, 0.0, 9.9, -80.0, 120.0), **off).stages == "b" * 10
    assert tell(steady(0, 9, 54.0, 0.0, inf, -inf, inf), **off).stages == "b" * 10


@pytest.mark.parametrize(
    ("lead", "was"),
    [([], "b"), (cells(0, 4, 3.4, HIGH), "a"), (cells(0, 14, 3.4, HIGH), "f")],
    ids=["bulk", "hold", "float"],
)
def test_every_stage_can_be_inhibited(lead: Rows, was: str) -> None:
    told = tell([*lead, *cells(15, 17, LIMIT)], hold_s=1000 if was == "a" else 10)
    assert told.events[-1] == f"17 inhibited cell_voltage {was}>i"


def test_confirmation_can_be_inhibited() -> None:
    rows = [*cells(0, 14, 3.4, HIGH), *cells(15, 17, LIMIT, HIGH)]
    told = tell(rows, confirm_s=50)
    assert told.events[-2:] == ["13 hold_expired a>a", "17 inhibited cell_voltage a>i"]


def test_trip_wins_over_a_break_in_time() -> None:
    # A dwell of zero, so that the sample after the gap can trip on its own.
    rows = [*cells(0, 4, 3.4, HIGH), *cells(60, 60, LIMIT, HIGH)]
    told = tell(rows, trip_dwell_s=0)
    assert told.events[1:] == ["60 inhibited cell_voltage a>i"]


def test_trip_wins_over_a_reset_on_the_same_sample() -> None:
    rows = [*cells(0, 10, 3.4, HIGH), *cells(11, 13, LIMIT, HIGH)]
    told = tell(rows)
    assert told.events[1:] == ["13 inhibited cell_voltage a>i"]
    assert told.resets == []


# No reading.


@pytest.mark.parametrize(
    ("t", "stages"), [(30, "bb"), (30.000000002, "bi"), (31, "bi"), (-5, "bb"), (None, "bb")]
)
def test_invalid_sample_trips_only_beyond_the_longest_gap(t: float | None, stages: str) -> None:
    told = tell([(0, 54.0), (t, None)])
    assert told.stages == stages
    assert told.events == ([f"{t:g} inhibited no_reading b>i"] if stages == "bi" else [])


def test_before_the_first_valid_sample_the_first_of_any_kind_counts() -> None:
    assert tell([(0, None), (29, 99.0), (30, None), (31, None)]).stages == "bbbi"
    # One without a stamp cannot be the first.
    assert tell([(None, 54.0), (100, None), (130, None), (131, None)]).stages == "bbbi"


def test_no_reading_has_no_dwell() -> None:
    assert tell([(0, 54.0), (31, None)], trip_dwell_s=500).stages == "bi"


def test_no_reading_trips_from_every_stage() -> None:
    for lead, was in ((steady(0, 4, HIGH), "a"), (steady(0, 14, HIGH), "f")):
        told = tell([*lead, (60, None)])
        assert told.events[-1] == f"60 inhibited no_reading {was}>i"


def test_valid_reading_clears_no_reading_after_the_dwell() -> None:
    rows: Rows = [(0, 54.0), (31, None), (35, 54.0), (37, 54.0), (38, 54.0)]
    told = tell(rows)
    assert told.stages == "biiib"
    assert told.events == ["31 inhibited no_reading b>i", "38 released i>b"]


def test_silence_longer_than_the_gap_without_any_sample_does_not_trip() -> None:
    assert tell([(0, 54.0), (500, 54.0)]).stages == "bb"


def test_more_invalid_samples_say_nothing_new() -> None:
    told = tell([(0, 54.0), (31, None), (32, None), (99, None)])
    assert told.events == ["31 inhibited no_reading b>i"]


# Release.


def test_cell_at_its_release_voltage_for_the_dwell_lets_go() -> None:
    rows = [*cells(0, 2, LIMIT), *cells(3, 7, RELEASE)]
    told = tell(rows)
    assert told.stages == "bbiiiibb"
    assert told.events == ["2 inhibited cell_voltage b>i", "6 released i>b"]


def test_cell_over_its_release_voltage_holds_on() -> None:
    assert tell([*cells(0, 2, LIMIT), *cells(3, 90, OVER_RELEASE)]).stages[2:] == "i" * 89


def test_one_sample_over_the_release_voltage_starts_the_dwell_anew() -> None:
    rows = [
        *cells(0, 2, LIMIT),
        *cells(3, 5, RELEASE),
        *cells(6, 6, OVER_RELEASE),
        *cells(7, 10, RELEASE),
    ]
    assert tell(rows).events[1:] == ["10 released i>b"]


@pytest.mark.parametrize(
    ("tripped_by", "clear", "released"),
    [
        ((-1.0,), (3.0,), True),
        ((-1.0,), (2.999,), False),
        ((46.0,), (42.0,), True),
        ((46.0,), (42.001,), False),
        ((-1.0,), (42.001,), False),
        ((20.0, 46.0), (3.0, 42.0), True),
        ((20.0, 46.0), (2.999, 42.0), False),
        ((20.0, 46.0), (None, 42.0), False),
        ((20.0, 46.0), (20.0, 42.001), False),
    ],
)
def test_temperature_lets_go_only_inside_by_the_band(
    tripped_by: tuple[float, ...], clear: tuple[float, ...], released: bool
) -> None:
    told = tell([*temps(0, 2, *tripped_by), *temps(3, 6, *clear)])
    assert told.events[1:] == (["6 released i>b"] if released else [])


def test_band_holds_only_for_the_limits_that_are_on() -> None:
    rows = [*temps(0, 2, 20.0, 46.0), *temps(3, 6, None, 42.0)]
    assert tell(rows, charge_min_c=None).events[1:] == ["6 released i>b"]
    rows = [*temps(0, 2, -1.0), *temps(3, 6, 3.0, None)]
    assert tell(rows, charge_max_c=None).events[1:] == ["6 released i>b"]


def test_absent_reading_breaks_the_release_dwell_of_its_own_cause() -> None:
    rows = [*cells(0, 2, LIMIT), *cells(3, 5, RELEASE), *cells(6, 6, None), *cells(7, 10, RELEASE)]
    assert tell(rows).events[1:] == ["10 released i>b"]


def test_absent_reading_of_another_cause_breaks_nothing() -> None:
    rows = [*steady(0, 2, 54.0, 0.0, LIMIT, 20.0), *steady(3, 6, 54.0, 0.0, RELEASE, None)]
    assert tell(rows).events[1:] == ["6 released i>b"]


def test_every_tripped_cause_must_be_clear() -> None:
    rows = [
        *steady(0, 2, 54.0, 0.0, LIMIT, 46.0),
        *steady(3, 8, 54.0, 0.0, RELEASE, 46.0),
        *steady(9, 12, 54.0, 0.0, RELEASE, 20.0),
    ]
    told = tell(rows)
    assert told.events == ["2 inhibited cell_voltage b>i", "12 released i>b"]


def test_cause_that_trips_while_inhibited_joins_without_an_event() -> None:
    # The cell is clear from 3 s on; the temperature trips at 5 s and is clear from 8 s on.
    rows = [
        *steady(0, 2, 54.0, 0.0, LIMIT, 20.0),
        *steady(3, 7, 54.0, 0.0, RELEASE, 46.0),
        *steady(8, 11, 54.0, 0.0, RELEASE, 20.0),
    ]
    told = tell(rows)
    assert told.events == ["2 inhibited cell_voltage b>i", "11 released i>b"]


def test_cause_that_has_not_tripped_yet_does_not_hold_back_the_release() -> None:
    # Temperature outside from 5 s on; its dwell would be over at 7 s, the release is at 6 s.
    rows = [
        *steady(0, 2, 54.0, 0.0, LIMIT, 20.0),
        *steady(3, 4, 54.0, 0.0, RELEASE, 20.0),
        *steady(5, 8, 54.0, 0.0, RELEASE, 46.0),
    ]
    told = tell(rows)
    assert told.events == [
        "2 inhibited cell_voltage b>i",
        "6 released i>b",
        "7 inhibited temperature b>i",
    ]


def test_dwell_that_runs_at_the_release_can_still_be_broken() -> None:
    # Outside at 5 s and 6 s, where the cell lets go; inside at 7 s; outside for 2 s at 10 s.
    rows = [
        *steady(0, 2, 54.0, 0.0, LIMIT, 20.0),
        *steady(3, 4, 54.0, 0.0, RELEASE, 20.0),
        *steady(5, 6, 54.0, 0.0, RELEASE, 46.0),
        *steady(7, 7, 54.0, 0.0, RELEASE, 20.0),
        *steady(8, 11, 54.0, 0.0, RELEASE, 46.0),
    ]
    assert tell(rows).events[1:] == ["6 released i>b", "10 inhibited temperature b>i"]


def test_no_reading_that_joins_breaks_the_release_dwell() -> None:
    # Stamps step back after the silence, so the next good sample joins on to the last one.
    rows = [*cells(0, 2, LIMIT), *cells(3, 5, RELEASE), (36, None), *cells(6, 9, RELEASE)]
    assert tell(rows).events[1:] == ["9 released i>b"]


def test_gap_starts_the_release_dwell_anew() -> None:
    rows = [*cells(0, 2, LIMIT), *cells(3, 5, RELEASE), *cells(60, 63, RELEASE)]
    assert tell(rows).events[1:] == ["63 released i>b"]


def test_invalid_sample_does_not_break_the_release_dwell() -> None:
    rows = [*cells(0, 2, LIMIT), *cells(3, 4, RELEASE), (5, None), *cells(6, 6, RELEASE)]
    assert tell(rows).events[1:] == ["6 released i>b"]


def test_release_leads_to_bulk_whatever_was_before_and_counts_its_sample_for_the_entry() -> None:
    rows = [*cells(0, 4, 3.4, HIGH), *cells(5, 7, LIMIT, HIGH), *cells(8, 14, RELEASE, HIGH)]
    told = tell(rows)
    assert told.events == [
        "3 hold_started b>a",
        "7 inhibited cell_voltage a>i",
        "11 released i>b",
        "14 hold_started b>a",
    ]


def test_release_dwell_of_zero_lets_go_at_the_first_clear_sample() -> None:
    rows = [*cells(0, 2, LIMIT), *cells(3, 3, RELEASE)]
    assert tell(rows, release_dwell_s=0).stages == "bbib"


def test_same_limits_trip_again_after_the_release() -> None:
    rows = [*cells(0, 2, LIMIT), *cells(3, 6, RELEASE), *cells(7, 9, LIMIT)]
    assert tell(rows).events[2:] == ["9 inhibited cell_voltage b>i"]


# While inhibited.


def test_while_inhibited_no_current_is_asked_for_and_the_float_voltage() -> None:
    told = tell(cells(0, 3, LIMIT))
    assert told.asked == [(56.0, 100.0), (56.0, 100.0), (54.0, 0.0), (54.0, 0.0)]


def test_while_inhibited_there_is_no_hold_and_no_reset() -> None:
    told = tell([*cells(0, 2, LIMIT, HIGH), *cells(3, 200, 3.6, HIGH)])
    assert told.events == ["2 inhibited cell_voltage b>i"]
    assert told.resets == []


def test_counting_goes_on_while_inhibited() -> None:
    # 1 A into a pack of 100 As, from 0.5.
    rows: Rows = [(t, 54.0, 1.0, LIMIT) for t in range(6)]
    assert tell(rows).soc == [0.5, 0.51, 0.52, 0.53, 0.54, 0.55]


def test_trips_are_judged_on_uncompensated_cell_voltages() -> None:
    shifts: dict[str, Any] = {"compensation_v_per_c": -0.06, "charge_max_c": None}
    assert tell(steady(0, 2, 54.0, 0.0, LIMIT, 40.0), **shifts).stages == "bbi"
