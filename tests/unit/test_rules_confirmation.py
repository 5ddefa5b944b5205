"""The confirm phase of absorption, sentence by sentence; every expectation worked by hand."""

from __future__ import annotations

import pytest

from tests.unit.told import Rows, steady, tell

HIGH, FULL, LOW = 56.0, 55.6, 55.5999

# The hold starts at 3 s and runs out at 13 s.
HELD: Rows = steady(0, 12, HIGH)


def test_full_voltage_itself_is_enough() -> None:
    told = tell([*HELD, (13, FULL)], soc=0.7)
    assert told.events[1:] == ["13 hold_expired a>f", "13 full_reset a>f"]
    assert told.soc[-2:] == [0.7, 1.0]


def test_row_of_the_reset_shows_float_and_the_flag_on_that_row_only() -> None:
    told = tell([*HELD, (13, HIGH), (14, HIGH)])
    assert told.stages[-3:] == "aff"
    assert told.resets == [13]


def test_confirmation_must_stand_for_its_time_from_the_expiry_on() -> None:
    told = tell([*HELD, *steady(13, 18, FULL)], confirm_s=4)
    assert told.stages == "bbb" + "a" * 14 + "ff"
    assert told.events[1:] == ["13 hold_expired a>a", "17 full_reset a>f"]


def test_voltage_before_the_expiry_does_not_count_for_the_confirmation() -> None:
    # High since 0 s; the dwell of 4 s begins at 13 s all the same.
    assert tell([*HELD, *steady(13, 16, HIGH)], confirm_s=4).resets == []


def test_true_but_not_yet_for_long_enough_is_neither_confirmed_nor_denied() -> None:
    for word in ("float", "bulk", "wait"):
        told = tell([*HELD, *steady(13, 16, FULL)], confirm_s=4, on_unconfirmed=word)
        assert told.events[1:] == ["13 hold_expired a>a"]


@pytest.mark.parametrize(("word", "stage"), [("float", "f"), ("bulk", "b")])
def test_low_voltage_at_the_expiry_denies_at_once(word: str, stage: str) -> None:
    told = tell([*HELD, (13, LOW)], soc=0.7, on_unconfirmed=word)
    assert told.events[1:] == [f"13 hold_expired a>{stage}", f"13 full_denied a>{stage}"]
    assert told.soc[-1] == 0.7
    assert told.resets == []


@pytest.mark.parametrize(("word", "stage"), [("float", "f"), ("bulk", "b")])
def test_low_voltage_during_the_confirmation_denies(word: str, stage: str) -> None:
    told = tell([*HELD, (13, FULL), (14, FULL), (15, LOW)], confirm_s=4, on_unconfirmed=word)
    assert told.events[1:] == ["13 hold_expired a>a", f"15 full_denied a>{stage}"]


def test_wait_stays_and_begins_the_dwell_anew() -> None:
    rows = [*HELD, (13, FULL), (14, LOW), *steady(15, 20, FULL)]
    told = tell(rows, confirm_s=4, on_unconfirmed="wait")
    assert told.events[1:] == ["13 hold_expired a>a", "19 full_reset a>f"]


def test_wait_ends_at_its_limit_without_a_reset() -> None:
    told = tell([*HELD, *steady(13, 20, LOW)], on_unconfirmed="wait", wait_limit_s=6)
    assert told.events[1:] == ["13 hold_expired a>a", "19 full_denied a>f"]


def test_wait_ends_at_its_limit_also_while_the_condition_is_true() -> None:
    rows = [*HELD, *steady(13, 16, LOW), *steady(17, 20, FULL)]
    told = tell(rows, confirm_s=4, on_unconfirmed="wait", wait_limit_s=6)
    assert told.events[1:] == ["13 hold_expired a>a", "19 full_denied a>f"]


def test_reset_on_the_sample_of_the_limit_wins() -> None:
    rows = [*HELD, *steady(13, 14, LOW), *steady(15, 20, FULL)]
    told = tell(rows, confirm_s=4, on_unconfirmed="wait", wait_limit_s=6)
    assert told.events[1:] == ["13 hold_expired a>a", "19 full_reset a>f"]


def test_wait_limit_shorter_than_the_confirmation_denies_a_full_pack() -> None:
    told = tell([*HELD, *steady(13, 20, HIGH)], confirm_s=6, on_unconfirmed="wait", wait_limit_s=2)
    assert told.events[1:] == ["13 hold_expired a>a", "15 full_denied a>f"]


def test_without_wait_the_limit_is_not_asked() -> None:
    told = tell([*HELD, *steady(13, 20, HIGH)], confirm_s=6, wait_limit_s=2)
    assert told.events[1:] == ["13 hold_expired a>a", "19 full_reset a>f"]


# Taper: the current must be within plus or minus `taper_a`.


@pytest.mark.parametrize(
    ("current_a", "happened"),
    [
        (5.0, "full_reset"),
        (-5.0, "full_reset"),
        (0.0, "full_reset"),
        (5.001, "full_denied"),
        (-5.001, "full_denied"),
    ],
)
def test_current_beyond_the_taper_denies_in_both_directions(
    current_a: float, happened: str
) -> None:
    told = tell([*HELD, (13, HIGH, current_a)], taper_a=5)
    assert told.events[1:] == ["13 hold_expired a>f", f"13 {happened} a>f"]


def test_without_a_taper_the_current_is_not_asked() -> None:
    assert tell([*HELD, (13, HIGH, 300.0)]).resets == [13]


def test_taper_of_zero_needs_no_current_at_all() -> None:
    assert tell([*HELD, (13, HIGH, 0.0)], taper_a=0).resets == [13]
    assert tell([*HELD, (13, HIGH, 0.001)], taper_a=0).resets == []


def test_current_that_rises_during_the_confirmation_denies() -> None:
    rows = [*HELD, (13, HIGH, 1.0), (14, HIGH, 9.0)]
    told = tell(rows, taper_a=5, confirm_s=4)
    assert told.events[1:] == ["13 hold_expired a>a", "14 full_denied a>f"]


def test_current_during_the_hold_is_not_asked() -> None:
    rows = [*steady(0, 12, HIGH, 100.0), (13, HIGH, 1.0)]
    assert tell(rows, taper_a=5, capacity_ah=280).resets == [13]


# What breaks it off.


def test_gap_abandons_a_confirmation() -> None:
    told = tell([*HELD, (13, HIGH), (50, HIGH)], confirm_s=4)
    assert told.events[1:] == [
        "13 hold_expired a>a",
        "50 hold_abandoned discontinuity a>b",
    ]


def test_invalid_sample_neither_confirms_nor_denies() -> None:
    told = tell([*HELD, (13, HIGH), (14, None), (15, 99.0), (17, HIGH)], confirm_s=4)
    assert told.stages[-4:] == "aaaf"
    assert told.resets == [17]


def test_at_most_one_reset_a_hold() -> None:
    told = tell(steady(0, 60, HIGH))
    assert told.resets == [13]


def test_next_hold_may_reset_again() -> None:
    # Float ends by its timer 5 s after 13 s; the dwell counts that sample: hold at 21 s, to 31 s.
    told = tell(steady(0, 33, HIGH), float_s=5)
    assert told.events == [
        "3 hold_started b>a",
        "13 hold_expired a>f",
        "13 full_reset a>f",
        "18 float_ended float_timer f>b",
        "21 hold_started b>a",
        "31 hold_expired a>f",
        "31 full_reset a>f",
    ]


def test_bulk_after_a_denial_counts_that_sample_for_the_entry() -> None:
    # Denied by the current at 13 s, at a voltage over the entry voltage: hold again at 16 s.
    rows = [*HELD, (13, HIGH, 9.0), *steady(14, 17, HIGH, 9.0)]
    told = tell(rows, taper_a=5, on_unconfirmed="bulk", capacity_ah=280)
    assert told.events[1:] == [
        "13 hold_expired a>b",
        "13 full_denied a>b",
        "16 hold_started b>a",
    ]
