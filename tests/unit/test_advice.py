"""Warnings of the settings check: when they come, and the numbers that they give."""

from __future__ import annotations

from typing import Any

import pytest

from ctrl.advice import CAUTION, Advice, warnings
from ctrl.settings import Settings


def about(settings: Settings, *fields: str, **installation: float) -> Advice:
    """The one warning about exactly these settings."""
    found = [advice for advice in warnings(settings, **installation) if advice.fields == fields]
    assert len(found) == 1, warnings(settings, **installation)
    return found[0]


def made(**changes: Any) -> Settings:
    return Settings.from_mapping(changes)


def test_defaults_are_wise_on_a_good_installation() -> None:
    assert warnings(Settings()) == ()
    assert warnings(Settings.for_cells(8), meter_error_v=0.02) == ()


# Entry margin: 0.2 V by the defaults, against the meters' error and the wiring's drop at 14 A, a
# twentieth of 280 Ah.


def test_entry_margin_is_enough_when_it_just_covers_meters_and_wiring() -> None:
    # 0.0625 + 14 * 0.0078125 = 0.171875, and 56.171875 - 56.0 is the same in binary.
    exact = made(absorption_v=56.171875, entry_v=56.0)
    assert warnings(exact, meter_error_v=0.0625, wiring_ohm=0.0078125) == ()
    more = warnings(exact, meter_error_v=0.0626, wiring_ohm=0.0078125)
    assert [advice.fields for advice in more] == [("absorption_v", "entry_v")]


def test_entry_margin_states_the_smallest_setting_and_that_it_is_under_the_cell_limit() -> None:
    advice = about(Settings(), "absorption_v", "entry_v", meter_error_v=0.3, wiring_ohm=0.01)
    assert advice.sentence == (
        "The hold may never start: absorption_v is 0.200 V over entry_v, but the meters may differ by"
        " 0.300 V and the wiring takes 0.140 V at 14 A."
    )
    # 55.8 + 0.3 + 0.14 = 56.24 V; over 16 cells 3.515 V.
    assert advice.hint == (
        "The smallest absorption_v that clears it is 56.240 V, 3.515 V a cell, which is under"
        f" cell_limit_v 3.65 V. {CAUTION}"
    )


def test_smallest_setting_is_rounded_up_so_that_it_does_clear_the_margin() -> None:
    # 55.8 + 0.3001 + 0.07 = 56.1701 V.
    advice = about(Settings(), "absorption_v", "entry_v", meter_error_v=0.3001)
    assert "is 56.171 V, 3.511 V a cell" in advice.hint
    assert warnings(made(absorption_v=56.171), meter_error_v=0.3001) == ()


def test_entry_margin_that_cannot_be_cleared_under_the_cell_limit_says_so() -> None:
    advice = about(
        made(absorption_v=58.0, entry_v=57.9), "absorption_v", "entry_v", meter_error_v=0.6
    )
    # 57.9 + 0.6 + 0.07 = 58.57 V; over 16 cells 3.661 V.
    assert "58.570 V, 3.661 V a cell, which is not under cell_limit_v 3.65 V" in advice.hint
    assert "lower entry_v and full_v instead" in advice.hint


def test_entry_margin_without_a_cell_limit_says_that_there_is_none() -> None:
    advice = about(made(cell_limit_v=None), "absorption_v", "entry_v", meter_error_v=0.3)
    assert "there is no cell_limit_v to compare it with" in advice.hint


def test_entry_margin_takes_the_drop_at_the_taper_current_that_is_set() -> None:
    settings = made(taper_a=2.0)
    assert warnings(settings, meter_error_v=0.1, wiring_ohm=0.05) == ()
    advice = about(settings, "absorption_v", "entry_v", meter_error_v=0.1, wiring_ohm=0.06)
    assert "takes 0.120 V at 2 A" in advice.sentence


def test_advice_that_raises_a_voltage_says_who_comes_first() -> None:
    assert CAUTION == (
        "The limits in the cell maker's data sheet, local codes and licensed practice come before any"
        " number that is said here."
    )
    raising = about(Settings(), "absorption_v", "entry_v", meter_error_v=1.0)
    assert raising.hint.endswith(CAUTION)


# The full voltage.


def test_full_voltage_within_the_noise_of_the_entry_voltage() -> None:
    assert warnings(made(full_v=55.75), meter_noise_v=0.04) == ()
    advice = about(made(full_v=55.75), "full_v", "entry_v", meter_noise_v=0.06)
    assert advice.sentence == (
        "Noise may deny a pack that is full: full_v is 0.050 V under entry_v, and readings stray by"
        " 0.060 V."
    )
    assert advice.hint == "full_v 55.740 V or less leaves room for it."


@pytest.mark.parametrize(("full_v", "warned"), [(53.6, True), (53.61, False)])
def test_full_voltage_that_a_resting_pack_passes(full_v: float, warned: bool) -> None:
    # 16 cells of 3.35 V rest at 53.6 V: open-circuit voltage at 98 %, 3.3502 V (Prada et al., doi
    # 10.1149/2.053304jes) and 3.3511 V (Naumann, PhD thesis, TU Munich, 2018).
    settings = made(full_v=full_v)
    assert [advice.fields for advice in warnings(settings)] == (
        [("full_v", "cells")] if warned else []
    )
    if warned:
        assert "16 cells at rest show up to 53.600 V" in about(settings, "full_v", "cells").sentence


def test_resting_voltage_of_another_chemistry_can_be_given() -> None:
    advice = about(Settings(), "full_v", "cells", rest_cell_v=3.5)
    assert "full_v is 55.600 V, and 16 cells at rest show up to 56.000 V" in advice.sentence


# The way back to bulk.


@pytest.mark.parametrize(("return_v", "warned"), [(53.6, False), (53.61, True)])
def test_return_voltage_over_the_resting_voltage_of_a_full_pack(
    return_v: float, warned: bool
) -> None:
    settings = made(return_v=return_v)
    assert [advice.fields for advice in warnings(settings)] == (
        [("return_v", "cells")] if warned else []
    )
    if warned:
        advice = about(settings, "return_v", "cells")
        assert "back and forth between float and bulk" in advice.sentence
        assert "comes to rest at 53.600 V" in advice.sentence


def test_return_count_over_the_ceiling() -> None:
    assert warnings(made(return_soc=0.95, soc_ceiling=0.95)) == ()
    advice = about(made(return_soc=0.95, soc_ceiling=0.9), "return_soc", "soc_ceiling")
    assert "counting stops at soc_ceiling 0.9, under return_soc 0.95" in advice.sentence
    assert warnings(made(return_soc=None, soc_ceiling=0.1)) == ()


# Lengths.


def test_samples_further_apart_than_the_longest_gap() -> None:
    assert warnings(Settings(), interval_s=30.0) == ()
    advice = about(Settings(), "max_gap_s", interval_s=60.0)
    assert "samples are 60 s apart, and max_gap_s is 30 s" in advice.sentence
    assert advice.hint == "max_gap_s 180 s lets two samples in a row be lost."


def test_hold_shorter_than_the_interval_of_the_samples() -> None:
    assert warnings(made(hold_s=5, entry_dwell_s=3), interval_s=5.0) == ()
    advice = about(made(hold_s=5, entry_dwell_s=3), "hold_s", interval_s=6.0)
    assert "hold_s is 5 s, and samples are 6 s apart" in advice.sentence


@pytest.mark.parametrize("name", ["entry_dwell_s", "confirm_s"])
def test_dwell_longer_than_the_hold(name: str) -> None:
    assert warnings(made(hold_s=60, **{name: 60})) == ()
    advice = about(made(hold_s=60, **{name: 61}), name, "hold_s")
    assert f"{name} is 61 s, hold_s is 60 s" in advice.sentence


def test_wait_that_ends_before_the_confirmation_can() -> None:
    waiting = {"on_unconfirmed": "wait", "confirm_s": 120}
    assert warnings(made(**waiting, wait_limit_s=120)) == ()
    advice = about(made(**waiting, wait_limit_s=119), "wait_limit_s", "confirm_s")
    assert "No pack will ever be confirmed" in advice.sentence
    assert warnings(made(confirm_s=120, wait_limit_s=119)) == ()


def test_float_timer_longer_than_a_day() -> None:
    assert warnings(made(float_s=86_400)) == ()
    advice = about(made(float_s=86_401), "float_s")
    assert "longer than a day" in advice.sentence


# Temperature compensation.


def lead_acid(**changes: Any) -> Settings:
    """24 cells of 2 V with -5 mV per degree and cell, as Harrington and Dunlop (1992) have it."""
    values: dict[str, Any] = {
        "cells": 24,
        "absorption_v": 57.6,
        "entry_v": 57.2,
        "full_v": 57.0,
        "float_v": 54.0,
        "return_v": 51.0,
        "cell_limit_v": None,
        "plausible_v": (16.0, 64.0),
        "compensation_v_per_c": -0.12,
        "charge_min_c": -20.0,
        "sensor_lost_s": 300.0,
        "sensor_jump_c": 15.0,
    }
    return made(**(values | changes))


def test_compensated_voltage_that_cold_raises_out_of_the_plausible_range() -> None:
    # 45 degrees under the reference: 5.4 V on top of 57.6 V is 63 V; on top of 58.6 V it is 64 V.
    assert warnings(lead_acid(), rest_cell_v=2.2) == ()
    settings = lead_acid(absorption_v=58.6)
    advice = about(
        settings,
        "compensation_v_per_c",
        "absorption_v",
        "plausible_v",
        "cell_limit_v",
        rest_cell_v=2.2,
    )
    assert "At -20 degrees C the compensated absorption_v is 64.000 V" in advice.sentence
    assert advice.hint == f"absorption_v under 58.600 V stays below it. {CAUTION}"


def test_compensated_voltage_that_reaches_the_cell_limit() -> None:
    settings = made(compensation_v_per_c=-0.1)
    advice = about(settings, "compensation_v_per_c", "absorption_v", "plausible_v", "cell_limit_v")
    # 25 degrees under the reference: 58.5 V, over 16 * 3.65 = 58.4 V.
    assert "At 0 degrees C the compensated absorption_v is 58.500 V" in advice.sentence
    assert "58.400 V" in advice.sentence


def test_compensation_without_a_temperature_limit_has_no_bound() -> None:
    fields = ("compensation_v_per_c", "charge_min_c", "charge_max_c")
    assert "no upper bound" in about(lead_acid(charge_min_c=None), *fields, rest_cell_v=2).sentence
    upward = made(compensation_v_per_c=0.01, charge_max_c=None)
    assert "no upper bound" in about(upward, *fields).sentence
    sensor = {"sensor_lost_s": 300.0, "sensor_jump_c": 15.0}
    assert warnings(made(compensation_v_per_c=0.01, charge_min_c=None, **sensor)) == ()
    bounded = lead_acid(charge_min_c=None, compensation_min_c=-20.0)
    assert warnings(bounded, rest_cell_v=2.2) == ()


def test_without_compensation_the_temperature_limits_may_be_off() -> None:
    assert warnings(made(charge_min_c=None, charge_max_c=None)) == ()


# What is given and what is named.


@pytest.mark.parametrize(
    "name", ["meter_error_v", "meter_noise_v", "wiring_ohm", "interval_s", "rest_cell_v"]
)
@pytest.mark.parametrize("value", [-0.001, float("nan"), float("inf")])
def test_installation_is_described_in_numbers_that_can_be(name: str, value: float) -> None:
    with pytest.raises(
        ValueError, match=f"^{name} is {value!r}; it must be a number, 0 or greater"
    ):
        warnings(Settings(), **{name: value})


def test_several_warnings_come_together_and_each_names_its_settings_in_its_sentence() -> None:
    unwise = made(
        full_v=53.0,
        return_v=53.7,
        return_soc=0.95,
        soc_ceiling=0.9,
        hold_s=2,
        entry_dwell_s=30,
        float_s=1e6,
    )
    found = warnings(unwise, meter_error_v=0.5, interval_s=60)
    assert [advice.fields for advice in found] == [
        ("absorption_v", "entry_v"),
        ("full_v", "cells"),
        ("return_v", "cells"),
        ("return_soc", "soc_ceiling"),
        ("max_gap_s",),
        ("hold_s",),
        ("entry_dwell_s", "hold_s"),
        ("float_s",),
        ("return_v", "float_v"),
    ]
    for advice in found:
        named = [name for name in advice.fields if name in advice.sentence]
        assert named
        assert advice.hint
        assert any(character.isdigit() for character in advice.hint)
