"""Profiles of chemistries: every bank of each is legal, and every number says where it comes from."""

from __future__ import annotations

from typing import Any

import pytest

from ctrl.advice import cautions, usual_rest_cell_v, warnings
from ctrl.chemistry import ACID, CHEMISTRIES, GAS, LIMITS_FIRST, PROFILES, Profile, profile
from ctrl.errors import SettingsError
from ctrl.figures import Figure, Mark
from ctrl.settings import SETTING_NAMES, Settings

BANKS = [(each, cells) for each in PROFILES.values() for cells in each.usual_cells]
LEAD = ("lead_flooded", "lead_agm", "lead_gel")


def named(name: str) -> Profile:
    return PROFILES[name]


def test_there_are_five_and_their_banks_are_of_12_24_and_48_volt() -> None:
    assert CHEMISTRIES == ("lfp", "lead_flooded", "lead_agm", "lead_gel", "nmc")
    assert [named(name).usual_cells for name in CHEMISTRIES] == [
        (4, 8, 16),
        (6, 12, 24),
        (6, 12, 24),
        (6, 12, 24),
        (7, 14),
    ]


@pytest.mark.parametrize(
    ("chosen", "cells"), BANKS, ids=lambda each: getattr(each, "name", str(each))
)
@pytest.mark.parametrize("capacity_ah", [0.5, 100.0, 2000.0])
def test_every_bank_is_legal_and_scaled(chosen: Profile, cells: int, capacity_ah: float) -> None:
    settings = Settings.for_chemistry(chosen.name, cells, capacity_ah)
    assert settings.cells == cells
    assert settings.capacity_ah == capacity_ah
    for name in ("absorption_v", "float_v", "empty_v", "compensation_v_per_c"):
        value = chosen.figures[name].value
        assert isinstance(value, float)
        assert getattr(settings, name) == pytest.approx(value * cells, abs=1e-9)
    a_share = chosen.figures["charge_current_a"].value
    assert isinstance(a_share, float)
    assert settings.charge_current_a == pytest.approx(a_share * capacity_ah, abs=1e-9)
    # A bank must be able to see the current that it asks for, and what it has in equalisation.
    assert settings.plausible_i[1] > settings.charge_current_a
    assert settings.hold_s == chosen.figures["hold_s"].value


# Where the meters are good enough for it, nothing in a profile is unwise.
@pytest.mark.parametrize(
    ("chosen", "cells"), BANKS, ids=lambda each: getattr(each, "name", str(each))
)
def test_no_bank_is_unwise_with_good_meters(chosen: Profile, cells: int) -> None:
    settings = Settings.for_chemistry(chosen.name, cells, 100.0)
    good = {"meter_error_v": 0.02, "meter_noise_v": 0.005}
    assert warnings(settings, rest_cell_v=chosen.rest_v, **good) == ()
    assert warnings(settings, **good) == ()


def test_lead_acid_ends_absorption_by_the_current_with_a_cap_and_the_others_by_the_hold() -> None:
    for name in LEAD:
        settings = Settings.for_chemistry(name, 6, 100.0)
        assert settings.taper_a is not None
        assert (settings.on_unconfirmed, settings.wait_limit_s) == ("wait", 10_800.0)
        assert settings.cell_limit_v is None
        assert "current under taper_a" in named(name).end_of_absorption
    for name in ("lfp", "nmc"):
        settings = Settings.for_chemistry(name, 14, 100.0)
        assert (settings.taper_a, settings.on_unconfirmed) == (None, "float")
        assert named(name).end_of_absorption == "hold_s"


def test_only_lead_acid_is_compensated_and_then_its_sensor_is_watched() -> None:
    for name in CHEMISTRIES:
        settings = Settings.for_chemistry(name, 14, 100.0)
        bounds = (settings.compensation_min_c, settings.compensation_max_c)
        sensor = (settings.sensor_lost_s, settings.sensor_frozen_s, settings.sensor_jump_c)
        if name in LEAD:
            assert settings.compensation_v_per_c < 0.0
            assert None not in bounds + sensor
        else:
            assert settings.compensation_v_per_c == 0.0
            assert set(bounds + sensor) == {None}


def test_lfp_is_what_the_defaults_are_a_cell() -> None:
    scaled = ("absorption_v", "entry_v", "full_v", "float_v", "return_v", "empty_v", "plausible_v")
    for cells in (4, 8, 16):
        by_name = Settings.for_chemistry("lfp", cells, 280.0)
        assert [getattr(by_name, name) for name in scaled] == [
            getattr(Settings.for_cells(cells), name) for name in scaled
        ]


# Equalisation.


def test_only_flooded_cells_are_equalised() -> None:
    for name in CHEMISTRIES:
        equalises = Settings.for_chemistry(name, 12, 100.0).equalisation_v is not None
        assert equalises is (name == "lead_flooded") is (not named(name).no_equalisation)


@pytest.mark.parametrize("name", [name for name in CHEMISTRIES if name != "lead_flooded"])
def test_an_equalisation_of_others_is_refused_with_the_reason_and_its_mark(name: str) -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.for_chemistry(name, 12, 100.0, equalisation_v=31.0)
    assert caught.value.fields == ("equalisation_v",)
    said = str(caught.value)
    assert f"equalisation_v is 31.0, and {named(name).title} must not be equalised" in said
    assert named(name).no_equalisation in said
    mark = Mark.MEMORY if name in LEAD else Mark.PRACTICE
    assert f"({mark.value})" in said
    assert "cell maker" in caught.value.hint
    assert Settings.for_chemistry(name, 12, 100.0, equalisation_v=None).equalisation_v is None


def test_changes_win_over_the_profile() -> None:
    settings = Settings.for_chemistry("lead_flooded", 6, 100.0, equalisation_v=15.0, hold_s=60)
    assert (settings.equalisation_v, settings.hold_s) == (15.0, 60.0)
    assert settings.float_v == 13.5


@pytest.mark.parametrize(
    ("arguments", "changes", "said"),
    [
        (
            ("lead_gell", 6, 100.0),
            {},
            "there is no chemistry 'lead_gell'; did you mean 'lead_gel'?",
        ),
        (("lfp", 0, 100.0), {}, "cells is 0; it must be a whole number greater than 0"),
        (("lfp", 4.0, 100.0), {}, "cells is 4.0"),
        (("lfp", 4, 0.0), {}, "capacity_ah is 0.0; it must be greater than 0"),
        (("lfp", 4, "100"), {}, "capacity_ah is '100', of type str"),
        (("lfp", 4, float("nan")), {}, "capacity_ah is nan"),
        (("lfp", 4, 100.0), {"hold": 1}, "there is no setting 'hold'"),
        (("lfp", 4, 100.0), {"float_v": 20.0}, "float_v 20.0 and absorption_v 14.0"),
    ],
)
def test_wrong_use_is_refused(
    arguments: tuple[Any, Any, Any], changes: dict[str, Any], said: str
) -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.for_chemistry(*arguments, **changes)
    assert said in str(caught.value)


# Where the numbers come from.


@pytest.mark.parametrize("name", CHEMISTRIES)
def test_every_number_has_a_source_or_a_mark(name: str) -> None:
    figures = named(name).figures
    assert set(figures) <= set(SETTING_NAMES)
    for figure in (*figures.values(), named(name).rest_cell_v):
        if figure.mark is Mark.SOURCE:
            # Author, and a year.
            assert any(part.strip(",:;.").isdigit() for part in figure.source.split())
        else:
            assert figure.told == figure.mark.value
            assert "source" in figure.told or "check the cell maker's data" in figure.told


def test_what_was_read_in_its_source_is_only_this() -> None:
    sourced = {
        (chosen.name, name)
        for chosen in PROFILES.values()
        for name, figure in (*chosen.figures.items(), ("rest", chosen.rest_cell_v))
        if figure.mark is Mark.SOURCE
    }
    assert sourced == {
        ("lead_flooded", "compensation_v_per_c"),
        ("lead_agm", "compensation_v_per_c"),
        ("lead_gel", "compensation_v_per_c"),
        ("lfp", "rest"),
    }


@pytest.mark.parametrize(("source", "mark"), [("", Mark.SOURCE), ("a book", Mark.MEMORY)])
def test_a_figure_that_claims_a_source_has_one(source: str, mark: Mark) -> None:
    with pytest.raises(ValueError, match=r"the figure 1\.0 has mark"):
        Figure(1.0, source, mark)


# Cautions, and what settings look like.


def test_cautions_of_lead_acid_name_hydrogen_and_ventilation() -> None:
    assert "hydrogen" in GAS
    assert "Ventilate" in GAS
    for name in CHEMISTRIES:
        said = named(name).cautions
        assert said[0] == LIMITS_FIRST
        assert (GAS in said) is (name in LEAD)
        assert (ACID in said) is (name == "lead_flooded")
        shown = cautions(Settings.for_chemistry(name, 14, 100.0))
        assert shown[1:] == said[1:]
        assert "licensed practice" in shown[0]


def test_rest_is_that_of_the_chemistry_that_the_voltages_look_like() -> None:
    for name in CHEMISTRIES:
        expected_v = profile("lead_agm").rest_v if name == "lead_gel" else profile(name).rest_v
        assert usual_rest_cell_v(Settings.for_chemistry(name, 14, 100.0)) == expected_v
    assert usual_rest_cell_v(Settings()) == 3.35
