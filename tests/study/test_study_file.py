"""Study files: what they describe, and what is wrong with those that describe nothing."""

from __future__ import annotations

import re
from pathlib import Path

import attrs
import pytest

from ctrl.resets import RESET_RULES, ResetRule
from harness.errors import InputError
from harness.study.study import Arm
from harness.study.study_file import from_content, named, shipped_names
from tests.study.study_texts import OWN_RULE, TEXT, small_study


def test_arms_are_every_combination_in_order(tmp_path: Path) -> None:
    study = small_study(tmp_path)
    assert len(study.arms) == 8
    assert study.arms[0] == Arm("voltage_after_hold", "every", (("hold_s", 1800),))
    assert study.arms[1] == Arm("voltage_after_hold", "every", (("hold_s", 3600),))
    assert study.arms[2] == Arm("voltage_after_hold", "any", (("hold_s", 1800),))
    assert study.arms[7].label == "first_touch, any, hold_s = 3600"
    worlds = study.arm_worlds(study.bank_world(0))
    assert [world.bank.policy for world in worlds] == ["every", "every", "any", "any"] * 2
    assert [world.packs[1].settings.hold_s for world in worlds] == [1800.0, 3600.0] * 4
    assert study.arm_rules[7] is RESET_RULES["first_touch"]


def test_arms_differ_in_nothing_else(tmp_path: Path) -> None:
    study = small_study(tmp_path)
    first, *others = study.arm_worlds(study.bank_world(1))
    for other in others:
        same = attrs.evolve(
            other,
            bank=first.bank,
            packs=tuple(
                attrs.evolve(branch, settings=own.settings)
                for branch, own in zip(other.packs, first.packs, strict=True)
            ),
        )
        assert same == first


def test_the_bank_wait_is_a_setting_of_the_bank(tmp_path: Path) -> None:
    study = small_study(tmp_path, ("hold_s = [1800, 3600]", "bank_wait_s = [60, 600]"))
    worlds = study.arm_worlds(study.bank_world(0))
    assert [world.bank.bank_wait_s for world in worlds[:2]] == [60, 600]


def test_a_setting_can_be_off_in_a_grid(tmp_path: Path) -> None:
    study = small_study(tmp_path, ("hold_s = [1800, 3600]", 'taper_a = ["none", 5]'))
    worlds = study.arm_worlds(study.bank_world(0))
    assert [world.packs[0].settings.taper_a for world in worlds[:2]] == [None, 5]


def test_a_worker_makes_the_same_study_of_the_content(tmp_path: Path) -> None:
    study = small_study(tmp_path)
    again = from_content(study.content, study.folder)
    assert again.fingerprint == study.fingerprint
    assert again.name == "small"
    assert again.bank_world(2) == study.bank_world(2)


def test_what_changes_the_rows_changes_the_fingerprint(tmp_path: Path) -> None:
    (tmp_path / "own.py").write_text(OWN_RULE)
    own = ('"first_touch"]', '"py:own.py:RULE"]')
    prints = {
        small_study(tmp_path).fingerprint,
        small_study(tmp_path, ("deviation = 0.02", "deviation = 0.03")).fingerprint,
        small_study(tmp_path, seed=1).fingerprint,
        small_study(tmp_path, days=3).fingerprint,
        small_study(tmp_path, own).fingerprint,
    }
    (tmp_path / "own.py").write_text(OWN_RULE.replace("0.1", "0.2"))
    prints.add(small_study(tmp_path, own).fingerprint)
    assert len(prints) == 6
    assert small_study(tmp_path).fingerprint in prints


def test_a_rule_of_ones_own_stands_beside_the_study(tmp_path: Path) -> None:
    (tmp_path / "own.py").write_text(OWN_RULE)
    study = small_study(tmp_path, ('"first_touch"]', '"py:own.py:RULE"]'))
    rule = study.reset_rules["py:own.py:RULE"]
    assert isinstance(rule, ResetRule)
    assert rule.condition(study.scenario.pack[0].settings.limits, 55.95, 0.0)
    assert not rule.condition(study.scenario.pack[0].settings.limits, 55.85, 0.0)


def test_a_scenario_can_stand_in_the_study(tmp_path: Path) -> None:
    inline = """\
[scenario]
title = "One pack"
shows = "nothing much"
[scenario.run]
hours = 1
[scenario.bank]
cells = 8
[scenario.charger]
[[scenario.pack]]
name = "only"
cell = { capacity_ah = 100, series_ohm = 0.001 }
"""
    text = TEXT.replace('scenario = "meters-drift-over-a-year"\n', "")
    text = text[: text.index('[[population]]\npart = "sun')] + inline
    path = tmp_path / "inline.toml"
    path.write_text(text)
    study = named(str(path))
    assert study.scenario.bank.cells == 8
    assert study.bank_world(0).duration_s == 2 * 86400.0


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"first_touch"', '"first_tuch"', "rules[1]: there is no reset rule 'first_tuch'"),
        ('"first_touch"', '"voltage_after_hold"', "rules: 'voltage_after_hold' is there twice"),
        ('"first_touch"', '"py:own.py:RULE"', "rules[1]: there is no file"),
        ('"first_touch"', '"py:RULE"', "rules[1]: 'py:RULE' names no rule"),
        ('"any"', '"all"', "policies[1]: there is no bank policy 'all'"),
        ("[1800, 3600]", "[]", "grid.hold_s: it is empty; one value at least"),
        ("[1800, 3600]", "3600", "grid.hold_s: there is 3600; a list of values"),
        (
            "hold_s =",
            "hold_h =",
            "grid.hold_h: there is no setting 'hold_h'; did you mean 'hold_s'",
        ),
        (
            "hold_s =",
            "full_v =",
            "grid: with voltage_after_hold, every, full_v = 1800: full_v 1800.0 and entry_v 55.9 "
            "contradict each other; it must be full_v <= entry_v",
        ),
        ("0.02\nhow", "-1\nhow", "population[0].deviation: deviation is -1.0; a number above 0"),
        (
            "0.02\nhow",
            "20\nhow",
            "population[0].part: pack.meter.voltage_offset_v: voltage_offset_v is -60.0",
        ),
        ("voltage_offset_v", "voltage_ofset_v", "did you mean 'voltage_offset_v'?"),
        ('"uniform"', '"even"', "population[1].law: there is 'even'"),
        ('law = "uniform"\n', "", "population[1].law: it is missing"),
        ("high = 10\n", "high = -1\n", "population[1].high: low is 0 and high is -1"),
        ("high = 365", "high = 400", "population[2].part: sun.day_of_year: day_of_year is 400"),
        ("per_unit = 0.05", "per_unit = -0.1", "population[1].part: pack.cell.series_ohm"),
        ("sun.day_of_year", "sun.clouds", "population[2].part: sun.clouds is no single value"),
        (
            "sun.day_of_year",
            "sun.dull_days.share",
            "population[2].part: the scenario has no sun.dull_days.share",
        ),
        (
            'how = "add"',
            'how = "add"\neach = "house"',
            "population[0].each: there is 'house'; one of 'bank', 'pack'",
        ),
        ("banks = 3", "banks = 0", "banks: banks is 0; a whole number from 1"),
        ("banks = 3", "banks = 3.5", "banks: there is 3.5; a whole number"),
        ("days = 2", "dais = 2", "dais: there is no such field; did you mean 'days'?"),
        ("days = 2\n", "", "days: it is missing; how many days each is run"),
        (
            '"meters-drift-over-a-year"',
            '"meters-drift"',
            "scenario: there is no scenario 'meters-drift'; did you mean",
        ),
        ('"meters-drift-over-a-year"', '"gone.toml"', "gone.toml: cannot be read: No such file"),
        ("banks = 3", "false_full_below_soc = 1.5\nbanks = 3", "false_full_below_soc is 1.5"),
        ("title", "= title", "small.toml:1: character 1: is no TOML"),
    ],
)
def test_what_is_wrong_is_named_before_anything_runs(
    tmp_path: Path, old: str, new: str, message: str
) -> None:
    with pytest.raises(InputError, match=re.escape(message)) as caught:
        small_study(tmp_path, (old, new))
    assert ".toml" in caught.value.file


def test_own_rules_that_are_none_are_named(tmp_path: Path) -> None:
    (tmp_path / "own.py").write_text(OWN_RULE)
    for member, message in (
        ("GONE", "GONE of own.py is missing; there is RULE"),
        ("OTHER", "OTHER of own.py is a int, no ResetRule; there is RULE"),
    ):
        with pytest.raises(InputError, match=re.escape(message)):
            small_study(tmp_path, ('"first_touch"]', f'"py:own.py:{member}"]'))


def test_too_many_arms_are_refused(tmp_path: Path) -> None:
    values = ", ".join(str(600 + k) for k in range(300))
    with pytest.raises(InputError, match="grid: there are 1200 arms; at most 1000"):
        small_study(tmp_path, ("[1800, 3600]", f"[{values}]"))


def test_a_study_that_is_nowhere_gets_a_hint() -> None:
    with pytest.raises(InputError, match="there is no file and no study 'nothing'"):
        named("nothing")


@pytest.mark.parametrize("name", shipped_names())
def test_shipped_studies_can_be_run(name: str) -> None:
    study = named(name)
    assert study.source
    assert study.shows
    assert all(entry.source for entry in study.population)
