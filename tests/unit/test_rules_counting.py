"""State of charge, sentence by sentence; every expectation worked by hand.

A pack of 100 As: one ampere for one second is 0.01.
"""

from __future__ import annotations

from math import inf
from typing import Any

import pytest

from tests.unit.told import POWER_LOST, Rows, steady, tell


def test_current_is_integrated_along_straight_lines() -> None:
    rows: Rows = [(0, 54.0, 0.0), (2, 54.0, 4.0), (3, 54.0, 4.0), (5, 54.0, -2.0)]
    # Triangle 4 As, rectangle 4 As, and 4 A down to -2 A: 2 As net.
    assert tell(rows).soc == [0.5, 0.54, 0.58, 0.6]


def test_first_sample_adds_nothing() -> None:
    assert tell([(1000, 54.0, 400.0), (1001, 54.0, 0.0)], capacity_ah=280).soc == [
        0.5,
        0.500198413,
    ]


def test_discharge_counts_in_full_and_charge_by_its_efficiency() -> None:
    half: dict[str, Any] = {"charge_efficiency": 0.5}
    assert tell([(0, 54.0, 4.0), (2, 54.0, 4.0)], **half).soc[-1] == 0.54
    assert tell([(0, 54.0, -4.0), (2, 54.0, -4.0)], **half).soc[-1] == 0.42


@pytest.mark.parametrize(
    ("first_a", "last_a", "soc"),
    [
        # From 6 A to -3 A in 3 s: 6 As in by the time of the crossing at 2 s, then 1.5 As out.
        (6.0, -3.0, 0.5 + 0.5 * 0.06 - 0.015),
        # The same backwards: 1.5 As out, then 6 As in.
        (-3.0, 6.0, 0.5 - 0.015 + 0.5 * 0.06),
        (6.0, 0.0, 0.5 + 0.5 * 0.09),
        (0.0, 6.0, 0.5 + 0.5 * 0.09),
        (-6.0, 0.0, 0.41),
        (0.0, -6.0, 0.41),
        (0.0, 0.0, 0.5),
    ],
)
def test_efficiency_applies_to_the_charging_part_of_an_interval(
    first_a: float, last_a: float, soc: float
) -> None:
    rows: Rows = [(0, 54.0, first_a), (3, 54.0, last_a)]
    assert tell(rows, charge_efficiency=0.5).soc[-1] == pytest.approx(soc, abs=1e-12)


def test_counting_alone_stops_at_the_ceiling() -> None:
    rows: Rows = [(t, 54.0, 10.0) for t in range(8)]
    told = tell(rows)
    assert told.soc == [0.5, 0.6, 0.7, 0.8, 0.9, 0.99, 0.99, 0.99]


def test_ceiling_applies_to_the_net_change_of_an_interval() -> None:
    # 6 As in, then 1.5 As out: net 0.045 up from 0.97, so it ends on the ceiling and not below it.
    rows: Rows = [(0, 54.0, 6.0), (3, 54.0, -3.0)]
    assert tell(rows, soc=0.97).soc == [0.97, 0.99]
    assert tell(rows, soc=0.94).soc == [0.94, 0.985]


def test_pack_over_the_ceiling_is_not_pulled_down_and_climbs_no_further() -> None:
    rows: Rows = [(0, 54.0, 1.0), (1, 54.0, 1.0), (2, 54.0, -0.5), (3, 54.0, -0.5)]
    # 0.0025 more by half an ampere net; then 0.005 out of what it was.
    assert tell(rows, soc=0.995).soc == [0.995, 0.995, 0.995, 0.99]


def test_count_after_a_full_reset_starts_from_one() -> None:
    rows = [*steady(0, 13, 56.0, 1.0), (14, 56.0, 1.0), (15, 54.0, -1.0), (16, 54.0, -1.0)]
    told = tell(rows, soc=0.9)
    assert told.resets == [13]
    assert told.soc[-4:] == [1.0, 1.0, 1.0, 0.99]


def test_count_never_falls_under_zero() -> None:
    rows: Rows = [(0, 54.0, -30.0), (1, 54.0, -30.0), (2, 54.0, -30.0), (3, 54.0, 30.0)]
    assert tell(rows).soc == [0.5, 0.2, 0.0, 0.0]


@pytest.mark.parametrize(("t", "soc"), [(30, 0.8), (30.01, 0.5), (-1, 0.5), (0, 0.5)])
def test_gap_and_step_back_add_nothing(t: float, soc: float) -> None:
    assert tell([(0, 54.0, 1.0), (t, 54.0, 1.0)]).soc[-1] == soc


def test_time_that_trembles_by_less_than_the_slack_adds_nothing() -> None:
    rows: Rows = [(1.0, 54.0, 500.0), (1.0 - 5e-10, 54.0, 500.0), (1.0 - 9e-10, 54.0, 500.0)]
    assert [output.soc for output in tell(rows).outputs] == [0.5, 0.5, 0.5]


def test_counting_goes_on_after_a_gap() -> None:
    rows: Rows = [(0, 54.0, 1.0), (100, 54.0, 1.0), (101, 54.0, 1.0)]
    assert tell(rows).soc == [0.5, 0.5, 0.51]


def test_invalid_sample_is_passed_over_by_the_straight_line() -> None:
    # From 0 A at 0 s to 4 A at 4 s; what is read in between is not believed.
    rows: Rows = [(0, 54.0, 0.0), (1, 54.0, None), (2, 99.0, 3.0), (3, 54.0, 501.0), (4, 54.0, 4.0)]
    assert tell(rows).soc == [0.5, 0.5, 0.5, 0.5, 0.58]


def test_power_loss_forgets_the_sample_before_it() -> None:
    rows: Rows = [(0, 54.0, 1.0), (1, 54.0, 1.0), POWER_LOST, (2, 54.0, 1.0), (3, 54.0, 1.0)]
    assert tell(rows).soc == [0.5, 0.51, 0.51, 0.52]


# The empty rule.

EMPTY, OVER = 44.8, 44.8001


def test_empty_voltage_for_its_dwell_sets_the_count_to_zero() -> None:
    told = tell(steady(0, 6, EMPTY))
    assert told.soc == [0.5, 0.5, 0.5, 0.5, 0.0, 0.0, 0.0]
    assert told.events == ["4 empty_reset b>b"]


def test_voltage_over_the_empty_voltage_does_not() -> None:
    assert tell(steady(0, 50, OVER)).events == []
    rows = [*steady(0, 3, EMPTY), (4, OVER), *steady(5, 8, EMPTY)]
    assert tell(rows).events == []


def test_empty_reset_comes_once_until_the_voltage_was_above() -> None:
    rows = [
        *steady(0, 5, EMPTY, 1.0),
        *steady(6, 9, EMPTY, 1.0),
        (10, OVER, 1.0),
        *steady(11, 15, EMPTY, 1.0),
    ]
    told = tell(rows)
    assert told.events == ["4 empty_reset b>b", "15 empty_reset b>b"]
    # It counts up from 0 in between, although the voltage stays low.
    assert told.soc[4:10] == [0.0, 0.01, 0.02, 0.03, 0.04, 0.05]
    assert told.soc[-1] == 0.0


def test_gap_breaks_the_empty_dwell_but_does_not_allow_a_second_reset() -> None:
    rows = [*steady(0, 3, EMPTY), *steady(60, 64, EMPTY)]
    assert tell(rows).events == ["64 empty_reset b>b"]
    rows = [*steady(0, 5, EMPTY), *steady(60, 70, EMPTY)]
    assert tell(rows).events == ["4 empty_reset b>b"]


def test_empty_rule_comes_after_counting() -> None:
    assert tell([*steady(0, 3, EMPTY, 10.0), (4, EMPTY, 10.0)]).soc[-1] == 0.0


def test_empty_rule_comes_before_the_stage_rules() -> None:
    # In float, the count set to 0 returns to bulk on the same sample.
    rows = [*steady(0, 13, 56.0), *steady(14, 18, EMPTY)]
    told = tell(rows, return_soc=0.9, return_dwell_s=100)
    assert told.events[3:] == ["18 empty_reset f>b", "18 float_ended low_soc f>b"]


def test_empty_dwell_runs_across_stages_and_resets_in_any() -> None:
    # In the hold, the voltage falls to nothing at 5 s.
    rows = [*steady(0, 4, 56.0), *steady(5, 10, EMPTY)]
    assert tell(rows).events[1:] == ["9 empty_reset a>a"]
    # The cell trips at 2 s, in the middle of the dwell.
    rows = steady(0, 4, EMPTY, 0.0, 3.7)
    assert tell(rows).events == ["2 inhibited cell_voltage b>i", "4 empty_reset i>i"]


def test_empty_rule_off_never_resets() -> None:
    assert tell(steady(0, 100, 20.0), empty_v=None).events == []


def test_empty_dwell_of_zero_needs_one_sample() -> None:
    assert tell([(0, EMPTY)], empty_dwell_s=0).soc == [0.0]


def test_empty_voltage_is_not_compensated() -> None:
    told = tell(steady(0, 6, EMPTY, 0.0, None, 0.0), compensation_v_per_c=-0.1)
    assert told.events == ["4 empty_reset b>b"]


def test_empty_reset_and_full_reset_on_one_sample_leave_the_pack_full() -> None:
    # Only settings without sense get here: empty at 53.9 V, full at 53.0 V already.
    strange: dict[str, Any] = {
        "empty_v": 53.9,
        "return_v": 53.95,
        "float_v": 54.0,
        "full_v": 53.0,
        "empty_dwell_s": 1,
    }
    rows = [*steady(0, 11, 56.0), *steady(12, 13, 53.9)]
    told = tell(rows, **strange)
    assert told.events[1:] == [
        "13 empty_reset a>f",
        "13 hold_expired a>f",
        "13 full_reset a>f",
    ]
    assert told.soc[-1] == 1.0


@pytest.mark.parametrize("soc", [-0.001, 1.001, inf, float("nan")])
def test_starting_count_must_be_a_fraction(soc: float) -> None:
    with pytest.raises(ValueError, match=r"starting state of charge is .* must be a fraction 0..1"):
        tell([], soc=soc)
