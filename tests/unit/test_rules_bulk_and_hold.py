"""Bulk and the hold phase of absorption, sentence by sentence; every expectation worked by hand."""

from __future__ import annotations

from math import nan

import pytest

from tests.unit.told import steady, tell

HIGH, ENTRY, UNDER, FULL, LOW = 56.0, 55.8, 55.7999, 55.6, 55.5999


# Bulk: `v >= entry_v` sustained for `entry_dwell_s` starts the hold.


def test_entry_voltage_itself_counts() -> None:
    told = tell(steady(0, 4, ENTRY))
    assert told.stages == "bbbaa"
    assert told.events == ["3 hold_started b>a"]


def test_just_under_the_entry_voltage_never_starts_a_hold() -> None:
    assert tell(steady(0, 200, UNDER)).stages == "b" * 201


def test_flicker_under_the_entry_voltage_starts_the_dwell_anew() -> None:
    rows = [(0, ENTRY), (1, ENTRY), (2, UNDER), (3, ENTRY), (4, ENTRY), (5, ENTRY), (6, ENTRY)]
    told = tell(rows)
    assert told.stages == "bbbbbba"
    assert told.events == ["6 hold_started b>a"]


def test_pack_that_flickers_every_other_sample_never_starts_its_hold() -> None:
    # Common practice, no source: 10 mV under the entry voltage is enough.
    rows = [(t, ENTRY if t % 2 else ENTRY - 0.01) for t in range(600)]
    assert set(tell(rows).stages) == {"b"}


def test_dwell_of_zero_needs_one_true_sample() -> None:
    assert tell([(0, UNDER), (1, ENTRY)], entry_dwell_s=0).stages == "ba"
    assert tell([(7, ENTRY)], entry_dwell_s=0).stages == "a"


def test_dwell_is_counted_from_samples_and_not_between_them() -> None:
    # True from 0 s to 20 s at the least, but shown so at 20 s only.
    assert tell([(0, ENTRY), (20, ENTRY), (21, ENTRY)], entry_dwell_s=3).stages == "baa"
    assert tell([(0, UNDER), (20, ENTRY), (21, ENTRY)], entry_dwell_s=3).stages == "bbb"


def test_decimal_stamps_that_add_up_to_the_dwell_are_enough() -> None:
    # In binary 0.1 + 0.7 is less than 0.8 by 1.1e-16.
    assert tell([(0.1, ENTRY), (0.1 + 0.7, ENTRY)], entry_dwell_s=0.7).stages == "ba"
    assert tell([(0.1, ENTRY), (0.8 - 2e-9, ENTRY)], entry_dwell_s=0.7).stages == "bb"


def test_dwell_that_began_under_a_hold_is_not_carried_into_bulk() -> None:
    # The gap abandons the hold at 40 s; that sample counts, those of the hold do not.
    rows = [*steady(0, 5, ENTRY), (40, ENTRY), (41, ENTRY), (42, ENTRY), (43, ENTRY)]
    told = tell(rows)
    assert told.stages == "bbbaaabbba"
    assert told.events == [
        "3 hold_started b>a",
        "40 hold_abandoned discontinuity a>b",
        "43 hold_started b>a",
    ]


# The hold timer.


def test_hold_lasts_its_length_and_ends_in_the_same_sample_with_the_reset() -> None:
    told = tell(steady(0, 15, HIGH))
    assert told.stages == "bbbaaaaaaaaaafff"
    assert told.events == ["3 hold_started b>a", "13 hold_expired a>f", "13 full_reset a>f"]
    assert told.resets == [13]


def test_hold_that_runs_out_between_samples_ends_at_the_next() -> None:
    told = tell([*steady(0, 3, HIGH), (12.9, HIGH), (13.5, HIGH)])
    assert told.stages == "bbbaaf"
    assert told.events[1:] == ["13.5 hold_expired a>f", "13.5 full_reset a>f"]


def test_decimal_intervals_that_add_up_to_the_hold_are_enough() -> None:
    # Three intervals of 0.1 s from 0.1 s end at 0.4 s; 0.4 - 0.1 is 0.30000000000000004, and from
    # 0.7 s to 1 s it is less than 0.3.
    for t in (0.1, 0.7):
        rows = [(t + k * 0.1, HIGH) for k in range(4)]
        assert tell(rows, entry_dwell_s=0, hold_s=0.3).stages == "aaaf"


@pytest.mark.parametrize(
    ("on_sag", "stages", "ends"),
    [
        # Low from 6 s to 8 s. The timer starts at 3 s and needs 10 s.
        ("run", "bbbaaaaaaaaaafff" + "f" * 6, 13),
        # 3 s until the low sample at 6 s, which ends an interval that began high; from 9 s again.
        ("pause", "bbbaaaaaaaaaaaaaffff" + "f" * 2, 16),
        # Zero at 8 s; from 9 s, the first sample at `sag_v` again.
        ("restart", "bbbaaaaaaaaaaaaaaaafff", 19),
    ],
)
def test_sag_lets_the_timer_run_pauses_it_or_restarts_it(
    on_sag: str, stages: str, ends: int
) -> None:
    rows = [*steady(0, 5, HIGH), *steady(6, 8, UNDER), *steady(9, 21, HIGH)]
    told = tell(rows, on_sag=on_sag)
    assert told.stages == stages
    assert told.resets == [ends]


def test_sag_voltage_itself_is_no_sag() -> None:
    for on_sag in ("run", "pause", "restart"):
        rows = [*steady(0, 3, HIGH), *steady(4, 13, 55.0)]
        told = tell(rows, on_sag=on_sag, sag_v=55.0, full_v=54.9)
        assert told.resets == [13]


def test_sag_voltage_left_out_is_the_entry_voltage() -> None:
    rows = [*steady(0, 5, HIGH), (6, UNDER), *steady(7, 15, HIGH)]
    assert tell(rows, on_sag="pause").resets == [14]
    assert tell(rows, on_sag="pause", sag_v=UNDER).resets == [13]


def test_pause_leaves_out_the_intervals_that_start_low_and_only_those() -> None:
    # 3 -> 6 counts (starts high), 6 -> 8 does not, 8 -> 15 does: 3 + 7 = 10 s at 15 s.
    rows = [*steady(0, 3, HIGH), (6, UNDER), (8, HIGH), (14.9, HIGH), (15, HIGH)]
    told = tell(rows, on_sag="pause")
    assert told.resets == [15]


def test_under_pause_a_low_sample_may_be_the_one_that_expires() -> None:
    rows = [*steady(0, 12, HIGH), (13, 55.7)]
    assert tell(rows, on_sag="pause").events[1:] == ["13 hold_expired a>f", "13 full_reset a>f"]


def test_under_restart_the_zeroing_comes_before_the_expiry() -> None:
    rows = [*steady(0, 12, HIGH), (13, 55.7), *steady(14, 24, HIGH)]
    told = tell(rows, on_sag="restart")
    assert told.events[1:] == ["24 hold_expired a>f", "24 full_reset a>f"]


def test_restart_stays_at_zero_until_the_voltage_is_back() -> None:
    rows = [*steady(0, 5, HIGH), *steady(6, 100, UNDER), *steady(101, 111, HIGH)]
    assert tell(rows, on_sag="restart").resets == [111]


def test_endless_sag_under_pause_holds_without_end() -> None:
    rows = [*steady(0, 5, HIGH), *steady(6, 500, UNDER)]
    assert tell(rows, on_sag="pause").stages == "bbb" + "a" * 498


def test_hold_runs_on_at_any_voltage_under_run() -> None:
    told = tell([*steady(0, 3, HIGH), *steady(4, 13, 50.0)])
    assert told.events[1:] == ["13 hold_expired a>f", "13 full_denied a>f"]


# A break in time abandons the hold.


@pytest.mark.parametrize(("t", "stages"), [(34, "bbbaa"), (34.001, "bbbab"), (3.999, "bbbab")])
def test_gap_and_step_back_abandon_a_hold(t: float, stages: str) -> None:
    rows = [*steady(0, 2, HIGH), (4, HIGH), (t, HIGH)]
    assert tell(rows, hold_s=1000, max_gap_s=30).stages == stages


def test_same_stamp_twice_is_no_break() -> None:
    assert tell([*steady(0, 3, HIGH), (3, HIGH), *steady(4, 13, HIGH)]).resets == [13]


def test_hold_that_would_have_run_out_in_a_gap_is_abandoned_all_the_same() -> None:
    told = tell([*steady(0, 5, HIGH), (60, HIGH)])
    assert told.events[1:] == ["60 hold_abandoned discontinuity a>b"]
    assert told.resets == []


def test_after_a_break_the_hold_starts_from_nothing() -> None:
    rows = [*steady(0, 11, HIGH), (50, HIGH), *steady(51, 63, HIGH)]
    told = tell(rows)
    assert told.events == [
        "3 hold_started b>a",
        "50 hold_abandoned discontinuity a>b",
        "53 hold_started b>a",
        "63 hold_expired a>f",
        "63 full_reset a>f",
    ]


def test_break_in_bulk_starts_the_entry_dwell_anew_with_that_sample() -> None:
    rows = [(0, HIGH), (2, HIGH), (40, HIGH), (42, HIGH), (43, HIGH)]
    assert tell(rows).stages == "bbbba"
    back = [(10, HIGH), (12, HIGH), (11, HIGH), (13, HIGH), (14, HIGH)]
    assert tell(back).stages == "bbbba"


def test_first_sample_of_all_is_no_break_and_counts() -> None:
    assert tell([(1e9, HIGH), (1e9 + 3, HIGH)]).stages == "ba"


def test_invalid_samples_do_not_stop_the_hold_timer() -> None:
    rows = [*steady(0, 5, HIGH), *steady(6, 12, nan), (13, HIGH)]
    assert tell(rows).resets == [13]


def test_invalid_sample_does_not_break_the_entry_dwell() -> None:
    assert tell([(0, HIGH), (1, nan), (2, 99.0), (3, HIGH)]).stages == "bbba"
