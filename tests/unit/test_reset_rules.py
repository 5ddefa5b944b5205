"""What decides a full reset can be exchanged; each rule told on the same packs, worked by hand."""

from __future__ import annotations

import pytest
from attrs import evolve

from ctrl.resets import (
    COUNTING_ONLY,
    FIRST_TOUCH,
    HOLD_ONLY,
    RESET_RULES,
    TAPER,
    VOLTAGE_AFTER_HOLD,
    VOLTAGE_AND_TAPER,
    ResetRule,
)
from tests.unit.told import Rows, steady, tell

HIGH, LOW = 56.0, 55.0

# All packs are started at 3 s and their hold runs out at 13 s. The current is a row's third number.
CALM: Rows = steady(0, 20, HIGH, 1.0)
CHARGING: Rows = steady(0, 20, HIGH, 50.0)
SAGGING: Rows = [*steady(0, 3, HIGH, 1.0), *steady(4, 20, LOW, 1.0)]
TAPERING: Rows = [*steady(0, 6, HIGH, 50.0), *steady(7, 20, HIGH, 1.0)]
TAPERING_LOW: Rows = [*steady(0, 3, HIGH, 50.0), *steady(4, 6, LOW, 50.0), *steady(7, 20, LOW, 1.0)]


@pytest.mark.parametrize(
    ("rule", "calm", "charging", "sagging", "tapering", "tapering_low"),
    [
        # Asked at 13 s: high, and within the taper.
        (VOLTAGE_AFTER_HOLD, [13], [], [], [13], []),
        # The first sample after the start of the hold, if it is high; one touch is enough.
        (FIRST_TOUCH, [4], [4], [], [4], []),
        # Whatever the voltage and the current are at 13 s.
        (HOLD_ONLY, [13], [13], [13], [13], [13]),
        # The current within the taper for 2 s, from the hold on: from 4 s, or from 7 s.
        (TAPER, [6], [], [6], [9], [9]),
        # The same, at the voltage.
        (VOLTAGE_AND_TAPER, [6], [], [], [9], []),
        (COUNTING_ONLY, [], [], [], [], []),
    ],
    ids=lambda value: value.name if isinstance(value, ResetRule) else "",
)
def test_each_rule_resets_where_it_says(
    rule: ResetRule,
    calm: list[int],
    charging: list[int],
    sagging: list[int],
    tapering: list[int],
    tapering_low: list[int],
) -> None:
    confirm_s = 2.0 if rule in (TAPER, VOLTAGE_AND_TAPER) else 0.0
    changes = {"taper_a": 5.0, "confirm_s": confirm_s, "capacity_ah": 280.0}
    told = [
        tell(rows, rule=rule, **changes).resets
        for rows in (CALM, CHARGING, SAGGING, TAPERING, TAPERING_LOW)
    ]
    assert told == [calm, charging, sagging, tapering, tapering_low]


@pytest.mark.parametrize("rule", [VOLTAGE_AFTER_HOLD, FIRST_TOUCH, TAPER, VOLTAGE_AND_TAPER])
def test_full_voltage_and_taper_themselves_are_enough(rule: ResetRule) -> None:
    for current_a in (5.0, -5.0):
        rows = [*steady(0, 3, HIGH, 50.0), *steady(4, 13, 55.6, current_a)]
        told = tell(rows, rule=rule, taper_a=5.0, capacity_ah=280.0)
        assert told.resets == [13 if rule is VOLTAGE_AFTER_HOLD else 4]


@pytest.mark.parametrize(("rule", "reset"), [(FIRST_TOUCH, 4), (HOLD_ONLY, 13)])
def test_rules_that_are_not_sustained_do_not_wait_for_the_confirmation(
    rule: ResetRule, reset: int
) -> None:
    assert tell(CALM, rule=rule, confirm_s=5.0, capacity_ah=280.0).resets == [reset]


def test_rules_that_ask_for_the_taper_never_reset_without_one() -> None:
    for rule in (TAPER, VOLTAGE_AND_TAPER):
        told = tell(CALM, rule=rule)
        assert told.resets == []
        assert told.events[1:] == ["13 hold_expired a>f", "13 full_denied a>f"]


def test_rule_that_resets_during_the_hold_leaves_the_hold_timer_aside() -> None:
    told = tell(CALM, rule=FIRST_TOUCH)
    assert told.events == ["3 hold_started b>a", "4 full_reset a>f"]
    assert told.stages == "bbba" + "f" * 17


def test_rule_during_the_hold_that_is_not_met_is_denied_when_the_hold_runs_out() -> None:
    told = tell(CHARGING, rule=TAPER, taper_a=5.0, capacity_ah=280.0)
    assert told.events[1:] == ["13 hold_expired a>f", "13 full_denied a>f"]


def test_dwell_of_a_rule_during_the_hold_runs_on_into_the_confirmation() -> None:
    # Calm from 11 s on; 4 s are over at 15 s, two seconds after the hold.
    rows = [*steady(0, 10, HIGH, 50.0), *steady(11, 20, HIGH, 1.0)]
    told = tell(rows, rule=TAPER, taper_a=5.0, confirm_s=4.0, capacity_ah=280.0)
    assert told.events[1:] == ["13 hold_expired a>a", "15 full_reset a>f"]


def test_interruption_starts_the_dwell_of_a_rule_anew() -> None:
    rows = [*steady(0, 5, HIGH, 1.0), (6, HIGH, 50.0), *steady(7, 20, HIGH, 1.0)]
    told = tell(rows, rule=TAPER, taper_a=5.0, confirm_s=3.0, capacity_ah=280.0)
    assert told.resets == [10]


def test_counting_only_never_corrects_the_count() -> None:
    told = tell(steady(0, 40, HIGH), rule=COUNTING_ONLY, soc=0.5)
    assert set(told.soc) == {0.5}
    assert told.events[1:] == ["13 hold_expired a>f", "13 full_denied a>f"]


def test_rules_are_found_by_their_names() -> None:
    assert list(RESET_RULES) == [
        "voltage_after_hold",
        "first_touch",
        "hold_only",
        "taper",
        "voltage_and_taper",
        "counting_only",
    ]
    assert all(name == rule.name for name, rule in RESET_RULES.items())
    assert len({rule.title for rule in RESET_RULES.values()}) == 6


def test_rule_of_ones_own_is_a_condition_and_two_answers() -> None:
    late = evolve(FIRST_TOUCH, name="own", condition=lambda _, level_v, i: level_v > 50 and i < 10)
    assert tell(TAPERING_LOW, rule=late, capacity_ah=280.0).resets == [7]


def test_conditions_see_the_voltage_at_the_reference_temperature() -> None:
    # At 35 C 0.6 V are taken off: 55.1 V stands for 55.7 V.
    rows = steady(0, 13, 55.21, 0.0, None, 35.0)
    assert tell(rows, rule=FIRST_TOUCH, compensation_v_per_c=-0.06).resets == [4]
    assert tell(rows, rule=FIRST_TOUCH).resets == []
