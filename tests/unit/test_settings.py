"""Settings: defaults, bounds, names, and scaling to another number of cells."""

from __future__ import annotations

from math import inf, nan
from typing import Any

import pytest

from ctrl.errors import ContradictionError, SettingsError
from ctrl.limits import limits_of
from ctrl.settings import OPTIONAL_SETTINGS, Settings

# The table of settings in the rules, with its defaults.
DEFAULTS: dict[str, Any] = {
    "cells": 16,
    "capacity_ah": 280.0,
    "absorption_v": 56.0,
    "entry_v": 55.8,
    "entry_dwell_s": 3.0,
    "hold_s": 3600.0,
    "sag_v": None,
    "on_sag": "run",
    "full_v": 55.6,
    "confirm_s": 0.0,
    "taper_a": None,
    "on_unconfirmed": "float",
    "wait_limit_s": 3600.0,
    "float_v": 54.0,
    "float_s": None,
    "return_v": 53.0,
    "return_dwell_s": 60.0,
    "return_soc": 0.9,
    "charge_current_a": 100.0,
    "charge_efficiency": 1.0,
    "soc_ceiling": 0.99,
    "empty_v": 44.8,
    "empty_dwell_s": 10.0,
    "cell_limit_v": 3.65,
    "cell_release_v": 3.5,
    "charge_min_c": 0.0,
    "charge_max_c": 45.0,
    "temp_band_c": 3.0,
    "trip_dwell_s": 1.0,
    "release_dwell_s": 10.0,
    "max_gap_s": 30.0,
    "plausible_v": (16.0, 64.0),
    "plausible_i": (-500.0, 500.0),
    "compensation_v_per_c": 0.0,
    "reference_c": 25.0,
    "compensation_min_c": None,
    "compensation_max_c": None,
    "sensor_lost_s": None,
    "sensor_frozen_s": None,
    "sensor_jump_c": None,
    "equalisation_v": None,
    "equalisation_s": 3600.0,
    "equalisation_every_s": None,
    "equalisation_max_c": 40.0,
    "equalisation_loss_s": 60.0,
    "equalisation_retry_s": 86400.0,
}

GREATER_THAN_0 = (
    "capacity_ah",
    "hold_s",
    "wait_limit_s",
    "float_s",
    "max_gap_s",
    "sensor_lost_s",
    "sensor_frozen_s",
    "sensor_jump_c",
    "equalisation_s",
    "equalisation_every_s",
)
ZERO_OR_GREATER = (
    "entry_dwell_s",
    "confirm_s",
    "taper_a",
    "return_dwell_s",
    "charge_current_a",
    "empty_dwell_s",
    "temp_band_c",
    "trip_dwell_s",
    "release_dwell_s",
    "equalisation_loss_s",
    "equalisation_retry_s",
)
ANY_NUMBER = (
    "absorption_v",
    "entry_v",
    "sag_v",
    "full_v",
    "float_v",
    "return_v",
    "empty_v",
    "cell_limit_v",
    "cell_release_v",
    "charge_min_c",
    "charge_max_c",
    "compensation_v_per_c",
    "reference_c",
    "compensation_min_c",
    "compensation_max_c",
    "equalisation_v",
    "equalisation_max_c",
)
FRACTIONS = ("return_soc", "charge_efficiency", "soc_ceiling")


def test_defaults_are_those_of_the_rules_in_their_order() -> None:
    assert Settings().to_mapping() == DEFAULTS
    assert list(Settings().to_mapping()) == list(DEFAULTS)


def test_every_number_of_the_table_has_its_bounds_tested_here() -> None:
    other = {"cells", "on_sag", "on_unconfirmed", "plausible_v", "plausible_i"}
    listed = [*GREATER_THAN_0, *ZERO_OR_GREATER, *ANY_NUMBER, *FRACTIONS, *other]
    assert sorted(listed) == sorted(DEFAULTS)


def test_settings_cannot_be_changed_in_place() -> None:
    with pytest.raises(AttributeError):
        Settings().hold_s = 60.0  # type: ignore[misc]  # what must not be possible is tried


def test_whole_numbers_become_floats_and_lists_become_ranges() -> None:
    settings = Settings.from_mapping({"hold_s": 60, "plausible_v": [16, 64]})
    assert repr(settings.hold_s) == "60.0"
    assert repr(settings.plausible_v) == "(16.0, 64.0)"
    assert settings == Settings(hold_s=60.0)


# Bounds


@pytest.mark.parametrize("name", GREATER_THAN_0)
def test_lengths_and_capacity_must_be_greater_than_0(name: str) -> None:
    assert getattr(Settings.from_mapping({name: 1e-9}), name) == 1e-9
    for value in (0, 0.0, -1.0):
        with pytest.raises(SettingsError) as caught:
            Settings.from_mapping({name: value})
        assert caught.value.fields == (name,)
        assert str(caught.value) == f"{name} is {float(value)!r}; it must be greater than 0"


@pytest.mark.parametrize("name", ZERO_OR_GREATER)
def test_dwells_and_currents_must_not_be_negative(name: str) -> None:
    assert getattr(Settings.from_mapping({name: 0}), name) == 0.0
    with pytest.raises(SettingsError) as caught:
        Settings.from_mapping({name: -0.5})
    assert caught.value.fields == (name,)
    assert str(caught.value) == f"{name} is -0.5; it must be 0 or greater"


@pytest.mark.parametrize(
    ("name", "legal", "illegal", "allowed"),
    [
        ("charge_efficiency", (1e-9, 1.0), (0.0, -0.1, 1.0000001), "greater than 0 and at most 1"),
        ("soc_ceiling", (1e-9, 1.0), (0.0, -0.1, 1.0000001), "greater than 0 and at most 1"),
        ("return_soc", (0.0, 0.9999999), (-1e-9, 1.0), "0 or greater and less than 1"),
    ],
)
def test_fractions_have_both_bounds(
    name: str, legal: tuple[float, ...], illegal: tuple[float, ...], allowed: str
) -> None:
    for value in legal:
        assert getattr(Settings.from_mapping({name: value}), name) == value
    for value in illegal:
        with pytest.raises(SettingsError) as caught:
            Settings.from_mapping({name: value})
        assert str(caught.value) == f"{name} is {value!r}; it must be {allowed}"


@pytest.mark.parametrize("name", [*GREATER_THAN_0, *ZERO_OR_GREATER, *ANY_NUMBER, *FRACTIONS])
@pytest.mark.parametrize(
    "value", [nan, inf, -inf, "56", True, [56.0], pytest.param(10**400, id="huge")]
)
def test_what_is_no_finite_number_is_refused(name: str, value: Any) -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_mapping({name: value})
    assert caught.value.fields == (name,)
    assert "it must be a finite number" in str(caught.value)


@pytest.mark.parametrize("name", [name for name in DEFAULTS if name not in OPTIONAL_SETTINGS])
def test_only_the_listed_settings_may_be_none(name: str) -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_mapping({name: None})
    assert caught.value.fields == (name,)


def test_the_listed_settings_may_be_none_all_at_once() -> None:
    assert OPTIONAL_SETTINGS == (
        "sag_v",
        "taper_a",
        "float_s",
        "return_soc",
        "empty_v",
        "cell_limit_v",
        "charge_min_c",
        "charge_max_c",
        "compensation_min_c",
        "compensation_max_c",
        "sensor_lost_s",
        "sensor_frozen_s",
        "sensor_jump_c",
        "equalisation_v",
        "equalisation_every_s",
        "equalisation_max_c",
    )
    settings = Settings.from_mapping(dict.fromkeys(OPTIONAL_SETTINGS))
    assert all(getattr(settings, name) is None for name in OPTIONAL_SETTINGS)


@pytest.mark.parametrize(
    "value", [0, -1, 1.0, 1.5, True, "16", None, pytest.param(10**400, id="huge")]
)
def test_cells_are_a_whole_number_greater_than_0(value: Any) -> None:
    with pytest.raises(SettingsError) as caught:
        Settings(cells=value)
    assert caught.value.fields == ("cells",)
    with pytest.raises(SettingsError) as caught:
        Settings.for_cells(value)
    assert caught.value.fields == ("cells",)


@pytest.mark.parametrize(
    ("name", "words"),
    [("on_sag", "run, pause, restart"), ("on_unconfirmed", "float, bulk, wait")],
)
@pytest.mark.parametrize("value", ["stop", "RUN", "", None, 1])
def test_unknown_words_are_refused_with_the_known_ones(name: str, words: str, value: Any) -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_mapping({name: value})
    assert caught.value.fields == (name,)
    assert str(caught.value) == f"{name} is {value!r}; it must be one of {words}"


@pytest.mark.parametrize("name", ["plausible_v", "plausible_i"])
@pytest.mark.parametrize("value", [None, 56.0, (1.0,), (1.0, 2.0, 3.0), "16"])
def test_a_range_is_two_numbers(name: str, value: Any) -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_mapping({name: value})
    assert caught.value.fields == (name,)
    assert "two numbers" in str(caught.value)


@pytest.mark.parametrize("name", ["plausible_v", "plausible_i"])
@pytest.mark.parametrize("bad", [nan, inf, "x", None, True])
def test_both_ends_of_a_range_are_finite_numbers(name: str, bad: Any) -> None:
    for value in ((bad, 64.0), (16.0, bad)):
        with pytest.raises(SettingsError, match=f"^{name} is .*it must be a finite number$"):
            Settings.from_mapping({name: value})


# Names


def test_unknown_name_is_refused_with_the_nearest() -> None:
    makers: list[Any] = [
        lambda: Settings.from_mapping({"absorbtion_v": 56.0}),
        lambda: Settings().changed(absorbtion_v=56.0),
        lambda: Settings.for_cells(8, absorbtion_v=28.0),
    ]
    for make in makers:
        with pytest.raises(SettingsError) as caught:
            make()
        assert caught.value.fields == ("absorbtion_v",)
        assert str(caught.value) == (
            "there is no setting 'absorbtion_v'; did you mean 'absorption_v'?"
        )


def test_unknown_name_that_is_near_to_none_is_refused_with_all_of_them() -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_mapping({"colour": "blue"})
    assert str(caught.value).startswith("there is no setting 'colour'; known are absorption_v, ")
    assert all(name in str(caught.value) for name in DEFAULTS)


def test_the_limits_are_no_setting() -> None:
    with pytest.raises(SettingsError, match="there is no setting 'limits'"):
        Settings.from_mapping({"limits": None})


def test_changed_keeps_the_rest_and_checks_again() -> None:
    settings = Settings(hold_s=60.0, float_s=None)
    assert settings.changed(float_s=30.0) == Settings(hold_s=60.0, float_s=30.0)
    assert settings.float_s is None
    with pytest.raises(ContradictionError):
        settings.changed(full_v=57.0)


# Another number of cells


def test_for_cells_scales_the_pack_voltages_and_nothing_else() -> None:
    eight = Settings.for_cells(8)
    scaled = {
        "cells": 8,
        "absorption_v": 28.0,
        "entry_v": 27.9,
        "full_v": 27.8,
        "float_v": 27.0,
        "return_v": 26.5,
        "empty_v": 22.4,
        "plausible_v": (8.0, 32.0),
    }
    assert eight.to_mapping() == DEFAULTS | scaled


def test_for_cells_takes_changes_unscaled() -> None:
    assert Settings.for_cells(8, absorption_v=28.4, sag_v=27.0).absorption_v == 28.4
    assert Settings.for_cells(8, empty_v=None).empty_v is None
    with pytest.raises(ContradictionError):
        Settings.for_cells(8, entry_v=55.8)


def test_for_cells_with_sixteen_is_the_default() -> None:
    assert Settings.for_cells(16) == Settings()


@pytest.mark.parametrize("cells", [1, 2, 3, 4, 5, 7, 12, 15, 16, 24, 48, 240])
def test_any_number_of_cells_gives_settings_without_contradiction(cells: int) -> None:
    settings = Settings.for_cells(cells)
    assert settings.absorption_v == pytest.approx(3.5 * cells, abs=1e-9)
    assert settings.return_v == pytest.approx(3.3125 * cells, abs=1e-9)


# What follows from the settings


def test_limits_take_the_slack_off_beforehand() -> None:
    limits = limits_of(Settings(hold_s=10.0, max_gap_s=30.0))
    assert limits.hold_s == 10.0 - 1e-9
    assert limits.max_gap_s == 30.0 + 1e-9


def test_a_limit_that_is_off_is_one_that_no_reading_reaches() -> None:
    limits = limits_of(Settings.from_mapping(dict.fromkeys(OPTIONAL_SETTINGS)))
    assert limits.sag_v == 55.8
    assert (limits.taper_a, limits.float_s, limits.cell_limit_v) == (inf, inf, inf)
    assert (limits.return_soc, limits.empty_v) == (-inf, -inf)
    assert (limits.charge_min_c, limits.charge_max_c) == (-inf, inf)
    assert (limits.release_min_c, limits.release_max_c) == (-inf, inf)
