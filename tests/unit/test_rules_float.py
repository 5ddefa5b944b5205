"""Float, sentence by sentence; every expectation worked by hand."""

from __future__ import annotations

from typing import Any

import pytest

from tests.unit.told import Rows, steady, tell

HIGH, BACK, UNDER = 56.0, 53.0, 52.9999

# The hold runs from 3 s to 13 s; float is entered at 13 s with a count of 1.
FULL: Rows = steady(0, 13, HIGH)


def test_voltage_under_the_return_voltage_for_its_dwell_returns() -> None:
    told = tell([*FULL, *steady(14, 20, UNDER)])
    assert told.events[3:] == ["19 float_ended low_voltage f>b"]


def test_return_voltage_itself_does_not_return() -> None:
    assert tell([*FULL, *steady(14, 100, BACK)]).stages[13:] == "f" * 88


def test_one_sample_at_the_return_voltage_starts_the_dwell_anew() -> None:
    rows = [*FULL, *steady(14, 18, UNDER), (19, BACK), *steady(20, 25, UNDER)]
    assert tell(rows).events[3:] == ["25 float_ended low_voltage f>b"]


def test_dwell_counts_the_sample_on_which_float_was_entered() -> None:
    # Denied at 13 s by a voltage that is under the return voltage: 13 s counts, so 18 s returns.
    rows = [*steady(0, 12, HIGH), *steady(13, 19, UNDER)]
    told = tell(rows)
    assert told.events[1:] == [
        "13 hold_expired a>f",
        "13 full_denied a>f",
        "18 float_ended low_voltage f>b",
    ]


def test_dwell_of_zero_returns_at_the_next_sample_and_not_on_that_of_the_entry() -> None:
    told = tell([*steady(0, 12, HIGH), (13, UNDER), (14, UNDER)], return_dwell_s=0)
    assert told.stages[-2:] == "fb"


def test_gap_starts_the_dwell_anew_with_the_sample_after_it() -> None:
    rows = [*FULL, *steady(14, 17, UNDER), *steady(60, 66, UNDER)]
    assert tell(rows).events[3:] == ["65 float_ended low_voltage f>b"]


def test_rules_of_float_apply_at_the_discontinuous_sample() -> None:
    assert tell([*FULL, (60, UNDER)], return_dwell_s=0).stages[-1] == "b"


@pytest.mark.parametrize(
    ("return_soc", "stages"),
    # 1 A out of a pack of 100 As: 0.995 at 14 s (the current comes on in between), then 0.01 each.
    [(0.99, "ffbb"), (0.98, "fffb"), (0.97, "ffff"), (None, "ffff")],
)
def test_count_under_its_limit_returns(return_soc: float | None, stages: str) -> None:
    rows = [*FULL, (14, 54.0, -1.0), (15, 54.0, -1.0), (16, 54.0, -1.0)]
    told = tell(rows, return_soc=return_soc)
    assert told.soc[-3:] == [0.995, 0.985, 0.975]
    assert told.stages[-4:] == stages


def test_count_at_its_limit_does_not_return() -> None:
    rows = [*FULL, (14, 54.0, 0.0), (15, 54.0, -50.0), (16, 54.0, -50.0)]
    told = tell(rows, return_soc=0.75, capacity_ah=100 / 3600)
    assert told.soc[-2:] == [0.75, 0.25]
    assert told.stages[-2:] == "fb"
    assert told.events[-1] == "16 float_ended low_soc f>b"


def test_denied_pack_that_counts_low_tries_again_at_once() -> None:
    told = tell([*steady(0, 12, HIGH), (13, 55.0), (14, 55.0)], soc=0.5, return_soc=0.9)
    assert told.events[2:] == ["13 full_denied a>f", "14 float_ended low_soc f>b"]


def test_float_timer_counts_from_the_sample_of_the_entry() -> None:
    told = tell([*FULL, *steady(14, 34, 54.0)], float_s=20)
    assert told.events[3:] == ["33 float_ended float_timer f>b"]


def test_without_a_float_timer_float_goes_on() -> None:
    assert tell([*FULL, *steady(14, 5000, 54.0)]).stages[13:] == "f" * 4988


def test_float_timer_goes_on_over_a_gap_with_the_stamps() -> None:
    told = tell([*FULL, (20, 54.0), (70, 54.0)], float_s=57)
    assert told.events[3:] == ["70 float_ended float_timer f>b"]
    assert tell([*FULL, (20, 54.0), (69, 54.0)], float_s=57).stages[-1] == "f"


def test_step_back_in_time_restarts_the_float_timer() -> None:
    rows = [*FULL, (20, 54.0), *steady(15, 26, 54.0)]
    assert tell(rows, float_s=10).events[3:] == ["25 float_ended float_timer f>b"]


def test_low_voltage_wins_over_the_count_and_the_count_over_the_timer() -> None:
    rows = [*FULL, (14, UNDER, -100.0)]
    both: dict[str, Any] = {"return_dwell_s": 0, "return_soc": 0.9, "float_s": 1}
    assert tell(rows, **both).events[-1] == "14 float_ended low_voltage f>b"
    assert tell(rows, **both | {"return_dwell_s": 9}).events[-1] == "14 float_ended low_soc f>b"
    late = tell(rows, **both | {"return_dwell_s": 9, "return_soc": None})
    assert late.events[-1] == "14 float_ended float_timer f>b"


def test_cycle_begins_again_while_the_charger_still_holds_the_voltage() -> None:
    # Common practice, no source: float ends by its timer, and bulk counts that sample for the entry.
    told = tell([*FULL, *steady(14, 30, HIGH)], float_s=10)
    assert told.events[3:] == ["23 float_ended float_timer f>b", "26 hold_started b>a"]


def test_invalid_samples_move_no_timer_but_time_goes_on() -> None:
    rows = [*FULL, *steady(14, 22, None), (23, 54.0)]
    told = tell(rows, float_s=10)
    assert told.stages[13:] == "f" * 10 + "b"
