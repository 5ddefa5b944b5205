"""Settings of the charger: defaults, bounds, contradictions, scaling, and their documentation."""

from __future__ import annotations

import re
from math import inf, nan
from pathlib import Path
from typing import Any

import pytest

from ctrl.charger import CHARGER_SETTING_NAMES, ChargerSettings
from ctrl.errors import ContradictionError, SettingsError

# The table of settings in the rules of the charger, with its defaults.
DEFAULTS: dict[str, Any] = {
    "packs": 1,
    "highest_v": 58.0,
    "highest_a": 100.0,
    "stale_s": 5.0,
    "silent_s": 60.0,
    "steady_s": 10.0,
    "fallback_v": 54.0,
    "fallback_a": 20.0,
    "compensation_v": 0.5,
    "compensation_v_per_s": 0.01,
    "sense_time_s": 60.0,
    "sense_error_v": 0.02,
    "regulation_v": 0.1,
    "raise_v_per_s": 0.1,
    "raise_a_per_s": 5.0,
    "zero_s": 1.0,
    "frozen_s": 60.0,
    "max_gap_s": 10.0,
    "plausible_v": (30.0, 70.0),
    "plausible_a": 1000.0,
}
GREATER_THAN_0 = (
    "stale_s",
    "silent_s",
    "sense_time_s",
    "regulation_v",
    "raise_v_per_s",
    "raise_a_per_s",
    "frozen_s",
    "max_gap_s",
    "plausible_a",
)
ZERO_OR_GREATER = (
    "highest_a",
    "steady_s",
    "fallback_a",
    "compensation_v",
    "compensation_v_per_s",
    "sense_error_v",
    "zero_s",
)
ANY_NUMBER = ("highest_v", "fallback_v")
UNITS = {
    "_v": ", V",
    "_s": ", s",
    "_a": ", A",
    "_v_per_s": "V per second",
    "_a_per_s": "A per second",
}
PAGE = Path(__file__).parents[2] / "docs" / "reference" / "charger.md"


def documented() -> dict[str, str]:
    section = str(ChargerSettings.__doc__).split("Attributes:\n")[1]
    found = re.findall(r"^ {8}(\w+): (.*(?:\n {12}.*)*)", section, flags=re.MULTILINE)
    return {name: " ".join(words.split()) for name, words in found}


def test_defaults_are_those_of_the_rules_in_their_order() -> None:
    assert ChargerSettings().to_mapping() == DEFAULTS
    assert list(ChargerSettings().to_mapping()) == list(DEFAULTS)


def test_every_number_of_the_table_has_its_bounds_tested_here() -> None:
    listed = [*GREATER_THAN_0, *ZERO_OR_GREATER, *ANY_NUMBER, "packs", "plausible_v"]
    assert sorted(listed) == sorted(DEFAULTS)


def test_what_is_written_is_read_back() -> None:
    settings = ChargerSettings(packs=3, stale_s=2.5, plausible_v=(20.0, 70.5))
    assert ChargerSettings.from_mapping(settings.to_mapping()) == settings
    assert ChargerSettings.from_mapping({"plausible_v": [20, 70.5]}).plausible_v == (20.0, 70.5)


@pytest.mark.parametrize("name", GREATER_THAN_0)
def test_what_must_be_greater_than_0(name: str) -> None:
    for value in (0.0, -1.0):
        with pytest.raises(SettingsError) as caught:
            ChargerSettings.from_mapping({name: value})
        assert caught.value.fields == (name,)
        assert str(caught.value) == f"{name} is {value!r}; it must be greater than 0"


@pytest.mark.parametrize("name", ZERO_OR_GREATER)
def test_what_must_not_be_negative(name: str) -> None:
    others = {"fallback_a": 0.0} if name == "highest_a" else {}
    assert getattr(ChargerSettings.from_mapping({name: 0, **others}), name) == 0.0
    with pytest.raises(SettingsError) as caught:
        ChargerSettings.from_mapping({name: -1e-9})
    assert str(caught.value) == f"{name} is -1e-09; it must be 0 or greater"


@pytest.mark.parametrize("name", [*GREATER_THAN_0, *ZERO_OR_GREATER, *ANY_NUMBER])
@pytest.mark.parametrize("value", [nan, inf, -inf, None, "5", True])
def test_every_number_must_be_finite(name: str, value: Any) -> None:
    with pytest.raises(SettingsError) as caught:
        ChargerSettings.from_mapping({name: value})
    assert caught.value.fields == (name,)
    assert str(caught.value).endswith("it must be a finite number")


@pytest.mark.parametrize("value", [0, -1, 1.0, True, None, "1"])
def test_packs_are_a_whole_number(value: Any) -> None:
    with pytest.raises(SettingsError) as caught:
        ChargerSettings.from_mapping({"packs": value})
    assert str(caught.value) == f"packs is {value!r}; it must be a whole number greater than 0"


@pytest.mark.parametrize(
    ("changes", "fields"),
    [
        ({"stale_s": 60.0}, ("stale_s", "silent_s")),
        ({"fallback_v": 58.5}, ("fallback_v", "highest_v")),
        ({"fallback_a": 101.0}, ("fallback_a", "highest_a")),
        ({"highest_a": 1001.0}, ("highest_a", "plausible_a")),
        ({"max_gap_s": 61.0}, ("max_gap_s", "sense_time_s")),
        ({"highest_v": 71.0}, ("highest_v", "plausible_v")),
        ({"fallback_v": 29.0}, ("fallback_v", "plausible_v")),
        ({"plausible_v": (70.0, 70.0)}, ("plausible_v",)),
    ],
)
def test_contradictions_are_refused_and_named(
    changes: dict[str, Any], fields: tuple[str, ...]
) -> None:
    with pytest.raises(ContradictionError) as caught:
        ChargerSettings(**changes)
    assert caught.value.fields == fields


def test_a_contradiction_says_what_would_be_right() -> None:
    with pytest.raises(ContradictionError) as caught:
        ChargerSettings(stale_s=60.0)
    assert str(caught.value) == (
        "stale_s 60.0 and silent_s 60.0 contradict each other; it must be stale_s < silent_s"
    )


def test_equal_settings_that_may_be_equal_are_allowed() -> None:
    settings = ChargerSettings(
        fallback_v=58.0, fallback_a=100.0, plausible_a=100.0, sense_time_s=10.0
    )
    assert settings.changed(plausible_v=(57.0, 58.0)).highest_v == 58.0


def test_unknown_names_are_refused_with_the_nearest() -> None:
    for make in (ChargerSettings().changed, lambda **of: ChargerSettings.for_cells(8, **of)):
        with pytest.raises(
            SettingsError, match=r"there is no setting 'stale'; did you mean 'stale_s'\?"
        ):
            make(stale=1.0)
    with pytest.raises(SettingsError, match="there is no setting 'highest'"):
        ChargerSettings.from_mapping({"highest": 1.0})


def test_pack_voltages_scale_with_the_cells_and_the_compensation_does_not() -> None:
    pier = ChargerSettings.for_cells(8, packs=2)
    assert (pier.highest_v, pier.fallback_v, pier.plausible_v) == (29.0, 27.0, (15.0, 35.0))
    assert (pier.compensation_v, pier.raise_v_per_s, pier.packs) == (0.5, 0.1, 2)
    with pytest.raises(SettingsError, match="cells is 0"):
        ChargerSettings.for_cells(0)


def test_every_setting_is_documented_with_its_unit() -> None:
    assert list(documented()) == list(CHARGER_SETTING_NAMES)
    for name, words in documented().items():
        ending = max((end for end in UNITS if name.endswith(end)), key=len, default="")
        assert ending == "" if name == "packs" else UNITS[ending] in words, name


def test_the_table_on_the_page_has_these_names_and_defaults() -> None:
    page = PAGE.read_text(encoding="utf-8")
    table = page.partition("## Settings {#settings}")[2].partition("###")[0]
    rows = re.findall(r"^\| `(\w+)` \| ([^|]+) \|", table, re.MULTILINE)
    shown = {
        name: " to ".join(f"{part:g}" for part in value)
        if isinstance(value, tuple)
        else f"{value:g}"
        for name, value in DEFAULTS.items()
    }
    assert dict(rows) == shown
