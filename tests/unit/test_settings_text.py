"""Settings as JSON and TOML: the round trip is exact, and errors say which field and why."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable

import pytest
from hypothesis import given

from ctrl.errors import ContradictionError, SettingsError
from ctrl.settings import OPTIONAL_SETTINGS, Settings
from ctrl.settings_text import from_json, from_toml, to_json, to_toml
from tests.properties.generated import settings_of_any_kind

READERS = [from_json, from_toml]


def test_json_is_one_setting_a_line_in_the_order_of_the_table() -> None:
    lines = to_json(Settings()).splitlines()
    assert lines[:4] == [
        "{",
        '  "cells": 16,',
        '  "capacity_ah": 280.0,',
        '  "absorption_v": 56.0,',
    ]
    assert '  "sag_v": null,' in lines
    assert '  "on_sag": "run",' in lines
    assert json.loads(to_json(Settings()))["plausible_v"] == [16.0, 64.0]


def test_toml_writes_a_setting_that_is_off_as_the_word_none() -> None:
    lines = to_toml(Settings()).splitlines()
    assert lines[:3] == ["cells = 16", "capacity_ah = 280.0", "absorption_v = 56.0"]
    assert 'sag_v = "none"' in lines
    assert 'on_sag = "run"' in lines
    assert tomllib.loads(to_toml(Settings()))["plausible_i"] == [-500.0, 500.0]


def test_numbers_that_need_all_their_digits_come_back_the_same() -> None:
    settings = Settings(
        hold_s=0.1 + 0.2,
        float_s=1e-300,
        wait_limit_s=1.7976931348623157e308,
        charge_efficiency=0.9999999999999999,
        compensation_v_per_c=-5e-324,
    )
    for text, reader in ((to_json(settings), from_json), (to_toml(settings), from_toml)):
        again = reader(text)
        assert again.hold_s == 0.30000000000000004
        assert again.float_s == 1e-300
        assert again.wait_limit_s == 1.7976931348623157e308
        assert again.charge_efficiency == 0.9999999999999999
        assert again.compensation_v_per_c == -5e-324


@given(settings_of_any_kind())
def test_round_trip_is_exact(settings: Settings) -> None:
    for again in (from_json(to_json(settings)), from_toml(to_toml(settings))):
        # The spelled-out form tells -0.0 from 0.0 and whole numbers from floats.
        assert repr(again) == repr(settings)
        assert again == settings


@pytest.mark.parametrize("off", OPTIONAL_SETTINGS)
def test_each_setting_that_can_be_off_comes_back_off(off: str) -> None:
    settings = Settings.from_mapping({off: None})
    assert getattr(from_json(to_json(settings)), off) is None
    assert getattr(from_toml(to_toml(settings)), off) is None


def test_what_is_not_named_has_its_default() -> None:
    assert from_json("{}") == from_toml("") == Settings()
    assert from_json('{"hold_s": 60}') == from_toml("hold_s = 60") == Settings(hold_s=60.0)


@pytest.mark.parametrize("reader", READERS)
def test_unknown_name_is_refused_with_the_nearest(reader: Callable[[str], Settings]) -> None:
    text = '{"absorbtion_v": 56.0}' if reader is from_json else "absorbtion_v = 56.0"
    with pytest.raises(SettingsError) as caught:
        reader(text)
    assert caught.value.fields == ("absorbtion_v",)
    assert str(caught.value) == "there is no setting 'absorbtion_v'; did you mean 'absorption_v'?"


@pytest.mark.parametrize(
    ("as_json", "as_toml", "field", "said"),
    [
        ('{"hold_s": "60"}', 'hold_s = "60"', "hold_s", "'60', of type str"),
        ('{"hold_s": true}', "hold_s = true", "hold_s", "True, of type bool"),
        ('{"hold_s": NaN}', "hold_s = nan", "hold_s", "nan, of type float"),
        ('{"hold_s": -1}', "hold_s = -1", "hold_s", "it must be greater than 0"),
        ('{"hold_s": [60]}', "hold_s = [60]", "hold_s", "of type list"),
        ('{"hold_s": null}', 'hold_s = "none"', "hold_s", "it must be a finite number"),
        ('{"hold_s": {"s": 1}}', "hold_s.s = 1", "hold_s", "of type dict"),
        ('{"cells": 16.5}', "cells = 16.5", "cells", "a whole number greater than 0"),
        ('{"on_sag": "none"}', 'on_sag = "none"', "on_sag", "one of run, pause, restart"),
        ('{"plausible_v": [16]}', "plausible_v = [16]", "plausible_v", "two numbers"),
        ('{"plausible_v": [16, "64"]}', 'plausible_v = [16, "64"]', "plausible_v", "finite"),
        ('{"hold_s": 1e999}', "hold_s = 1e999", "hold_s", "finite number"),
    ],
)
def test_wrong_value_is_refused_with_its_field(
    as_json: str, as_toml: str, field: str, said: str
) -> None:
    for reader, text in ((from_json, as_json), (from_toml, as_toml)):
        with pytest.raises(SettingsError) as caught:
            reader(text)
        assert caught.value.fields == (field,)
        assert field in str(caught.value)
        assert said in str(caught.value)


def test_none_as_a_word_is_for_toml_alone() -> None:
    assert from_toml('sag_v = "none"').sag_v is None
    with pytest.raises(SettingsError, match=r"^sag_v is 'none', of type str"):
        from_json('{"sag_v": "none"}')


def test_contradiction_is_refused_with_both_fields() -> None:
    for reader, text in ((from_json, '{"full_v": 57}'), (from_toml, "full_v = 57")):
        with pytest.raises(ContradictionError) as caught:
            reader(text)
        assert caught.value.fields == ("full_v", "entry_v")


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ('{"hold_s": 60,\n  "float_s": }', "line 2 column 14"),
        ("", "line 1 column 1"),
        ("{" * 100_000, ""),
        ('{"hold_s": ' + "9" * 5000 + "}", ""),
    ],
    ids=["half a line", "nothing", "nested without end", "five thousand digits"],
)
def test_text_that_is_no_json_is_refused_with_the_place(text: str, where: str) -> None:
    with pytest.raises(SettingsError, match=r"^the settings cannot be read as JSON: ") as caught:
        from_json(text)
    assert where in str(caught.value)


@pytest.mark.parametrize(
    ("text", "where"),
    [("hold_s = 60\nfloat_s = ?", "line 2, column 11"), ("{", "line 1, column 1")],
)
def test_text_that_is_no_toml_is_refused_with_the_place(text: str, where: str) -> None:
    with pytest.raises(SettingsError, match=r"^the settings cannot be read as TOML: ") as caught:
        from_toml(text)
    assert where in str(caught.value)


def test_setting_named_twice_is_refused() -> None:
    with pytest.raises(SettingsError) as caught:
        from_json('{"hold_s": 60, "float_s": 1, "hold_s": 61}')
    assert caught.value.fields == ("hold_s",)
    assert str(caught.value) == "hold_s is there twice; leave one of them out"
    with pytest.raises(SettingsError, match="cannot be read as TOML"):
        from_toml("hold_s = 60\nhold_s = 61")


@pytest.mark.parametrize("text", ["[]", "60", "null", '"hold_s"'])
def test_json_that_is_no_object_is_refused(text: str) -> None:
    with pytest.raises(SettingsError, match="they must be an object"):
        from_json(text)
