"""Every setting is documented with its unit, and with what its words and None mean."""

from __future__ import annotations

import re

import pytest

from ctrl.settings import OPTIONAL_SETTINGS, SETTING_NAMES, Settings

UNITS = {
    "_v": ", V",
    "_ah": ", Ah",
    "_s": ", s",
    "_a": ", A",
    "_c": ", degrees C",
    "_jump_c": ", K",
    "_i": ", A",
    "_soc": ", 0..1",
    "_per_c": ", V per degree C",
}


def documented() -> dict[str, str]:
    text = str(Settings.__doc__)
    section = text.split("Attributes:\n")[1]
    found = re.findall(r"^ {8}(\w+): (.*(?:\n {12}.*)*)", section, flags=re.MULTILINE)
    return {name: " ".join(words.split()) for name, words in found}


def test_every_setting_is_documented_and_every_documented_one_exists() -> None:
    assert list(documented()) == list(SETTING_NAMES)


@pytest.mark.parametrize("name", SETTING_NAMES)
def test_the_documentation_of_a_setting_names_its_unit(name: str) -> None:
    endings = [ending for ending in UNITS if name.endswith(ending)]
    without_unit = {"cells", "on_sag", "on_unconfirmed", "charge_efficiency", "soc_ceiling"}
    if name in without_unit:
        assert not [ending for ending in endings if ending != "_c"]
        return
    assert UNITS[max(endings, key=len)] in documented()[name]


@pytest.mark.parametrize("name", OPTIONAL_SETTINGS)
def test_the_documentation_says_what_none_means(name: str) -> None:
    assert "None:" in documented()[name]


@pytest.mark.parametrize("name", ["on_sag", "on_unconfirmed"])
def test_the_documentation_names_every_word(name: str) -> None:
    words = {"on_sag": ("run", "pause", "restart"), "on_unconfirmed": ("float", "bulk", "wait")}
    assert all(f"`{word}`" in documented()[name] for word in words[name])
