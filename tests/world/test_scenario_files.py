"""Scenario files: what is read from them, what is written, and what is refused."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from ctrl.settings import Settings
from harness.errors import InputError
from harness.world.expectation import MEASURES, Expectation, Observed
from harness.world.scenario import FOLDER, Scenario, changed, shipped, shipped_names
from harness.world.scenario_file import read, to_toml
from harness.world.scenario_schema import PATH, schema, text

PIER = """
title = "A pier"
shows = "nothing in particular"

[run]
hours = 2

[bank]
cells = 8

[every_pack]
cell = { capacity_ah = 280, series_ohm = 0.00025 }
lead = { length_m = 2, mm2 = 35 }
settings = { hold_s = 1800, taper_a = 5, return_soc = "none" }

[[pack]]
name = "north"
soc = 0.9

[[pack]]
name = "south"
lead = { mm2 = 16 }
settings = { hold_s = 900 }
"""


def read_text(tmp_path: Path, content: str) -> Scenario:
    file = tmp_path / "pier.toml"
    file.write_text(content, encoding="utf-8")
    return read(file)


def refused(tmp_path: Path, content: str) -> InputError:
    with pytest.raises(InputError) as caught:
        read_text(tmp_path, content)
    assert caught.value.file == str(tmp_path / "pier.toml")
    return caught.value


def complaints(content: str) -> list[str]:
    return [e.json_path for e in Draft202012Validator(schema()).iter_errors(tomllib.loads(content))]


def test_a_pack_takes_from_every_pack_what_it_does_not_say(tmp_path: Path) -> None:
    north, south = read_text(tmp_path, PIER).world.packs
    assert (north.lead.length_m, north.lead.mm2, north.settings.hold_s) == (2.0, 35.0, 1800.0)
    assert (south.lead.length_m, south.lead.mm2, south.settings.hold_s) == (2.0, 16.0, 900.0)
    assert (north.pack.soc, south.pack.soc) == (0.9, 0.5)
    assert (south.settings.taper_a, south.settings.return_soc) == (5.0, None)


def test_settings_are_scaled_to_the_cells_of_the_bank(tmp_path: Path) -> None:
    north, _ = read_text(tmp_path, PIER).world.packs
    assert north.pack.count == 8
    assert (north.settings.cells, north.settings.absorption_v) == (8, 28.0)


def test_what_is_left_out_has_its_default(tmp_path: Path) -> None:
    world = read_text(tmp_path, PIER).world
    assert (world.name, world.duration_s, world.interval_s, world.seed) == ("pier", 7200.0, 1.0, 0)
    assert (world.bank.policy, world.bank.lead, world.sun) == ("every", 0, None)
    assert world.charger.current_a == 60.0


def test_the_lead_is_named(tmp_path: Path) -> None:
    bank = '[bank]\npolicy = "lead"\nlead = "south"\n'
    assert read_text(tmp_path, PIER.replace("[bank]\n", bank)).world.bank.lead == 1


@pytest.mark.parametrize("name", shipped_names())
def test_what_is_written_is_read_back(tmp_path: Path, name: str) -> None:
    scenario = shipped(name)
    again = read_text(tmp_path, to_toml(scenario))
    assert again.world.packs == scenario.world.packs
    assert again.world.charger == scenario.world.charger
    assert again.world.loads == scenario.world.loads
    assert (again.world.sun, again.world.ambient) == (scenario.world.sun, scenario.world.ambient)
    assert (again.world.bank, again.world.main) == (scenario.world.bank, scenario.world.main)
    assert (again.title, again.shows, again.expectations) == (
        scenario.title,
        scenario.shows,
        scenario.expectations,
    )


def test_settings_that_are_off_are_written_as_none(tmp_path: Path) -> None:
    scenario = read_text(tmp_path, PIER)
    written = tomllib.loads(to_toml(scenario))
    assert written["pack"][0]["settings"] == {
        "hold_s": 1800.0,
        "taper_a": 5.0,
        "return_soc": "none",
    }
    assert read_text(tmp_path, to_toml(scenario)).world.packs == scenario.world.packs


@pytest.mark.parametrize(
    ("old", "new", "column", "message"),
    [
        ("capacity_ah = 280", "capacity_ah = 0", "every_pack.cell.capacity_ah", "is 0.0"),
        ("series_ohm = 0.00025", "series_ohm = 0", "every_pack.cell.series_ohm", "above 0 Ω"),
        ("length_m = 2", "length_m = -2", "every_pack.lead.length_m", "a number from 0 m"),
        ("length_m = 2", "length_cm = 200", "every_pack.lead.length_cm", "mean 'length_m'?"),
        ("length_m = 2", 'length_m = "2 m"', "every_pack.lead.length_m", "there is '2 m'"),
        ("length_m = 2", "length_m = true", "every_pack.lead.length_m", "there is True"),
        ("length_m = 2", "length_m = nan", "every_pack.lead.length_m", "is nan"),
        ("mm2 = 16", "mm2 = 17", "pack[1].lead.mm2", "no conductor of 17.0 mm²"),
        ("mm2 = 16", "awg = 4", "every_pack.lead.mm2", "both of mm2 and awg"),
        ("hold_s = 900", "hold_min = 15", "pack[1].settings.hold_min", "mean 'hold_s'?"),
        ("hold_s = 900", "hold_s = -1", "pack[1].settings.hold_s", "greater than 0"),
        ("hold_s = 900", "entry_v = 60", "pack[1].settings.entry_v", "contradict each other"),
        ("hold_s = 900", "cells = 8", "pack[1].settings.cells", "told once, in [bank]"),
        ("hold_s = 1800", "hold_s = 0", "pack[0].settings.hold_s", ""),
        ("soc = 0.9", "soc = 90", "pack[0].soc", "a number from 0 up to 1"),
        ("hours = 2", "hours = 0", "run.hours", "above 0 h"),
        ("hours = 2", "hours = 1e9", "run.hours", "at most 20,000,000"),
        ("hours = 2", "minutes = 2", "run.minutes", "no such field"),
        ("hours = 2", 'hours = 2\nstart_at = "25:00"', "run.start_at", "HH:MM"),
        ("hours = 2", "hours = 2\nseed = 1.5", "run.seed", "a whole number"),
        ("hours = 2", "hours = 2\ninterval_s = 5", "charger.interval_s", "interval_s or longer"),
        ("hours = 2", "hours = 2\nkept_every_s = 2.5", "run.kept_every_s", "a multiple of"),
        ("cells = 8", "cells = 0", "bank.cells", "from 1 to 1000"),
        ("cells = 8", 'cells = 8\nlead = "nroth"', "bank.lead", "mean 'north'?"),
        ("cells = 8", 'cells = 8\npolicy = "most"', "bank.policy", "every, lead, any"),
        ("cells = 8", "cells = 8\nbank_wait_s = 0", "bank.bank_wait_s", "greater than 0"),
        ('name = "south"', 'name = "north"', "pack[1].name", "names differ"),
        ('name = "south"', "", "pack[1].name", "it is missing"),
        ("[[pack]]", "[[packs]]", "packs", "mean 'pack'?"),
        ("[every_pack]", "[all_packs]", "all_packs", "no such field"),
        ('title = "A pier"', "", "title", "it is missing"),
    ],
)
def test_a_bank_that_cannot_be_is_refused(
    tmp_path: Path, old: str, new: str, column: str, message: str
) -> None:
    assert old in PIER
    error = refused(tmp_path, PIER.replace(old, new))
    if message:
        assert error.column == column
        assert message in str(error)
    else:
        assert error.column.endswith("settings.hold_s")


@pytest.mark.parametrize(
    ("table", "column", "message"),
    [
        ("[charger]\ncurrent_a = 0", "charger.current_a", "above 0 A"),
        ("[charger]\nlink = 3", "charger.link", "a table with delay_s"),
        ("[charger.link]\noutages = [[5, 1]]", "charger.link.outages", "the earlier first"),
        ("[charger.link]\noutages = [[5]]", "charger.link.outages[0]", "2 values"),
        ("[wiring]\nmain_contact_ohm = -1", "wiring.main_contact_ohm", "from 0 up to 10 Ω"),
        ("[sun]\npeak_kw = 4", "sun.peak_kw", "did you mean 'peak_w'?"),
        ("[sun]\nlatitude_deg = 46", "sun.peak_w", "it is missing"),
        ('[[loads.events]]\nname = "oven"', "loads.events[0].power_w", "it is missing"),
        ("[loads]\nevents = 3", "loads.events", "a list"),
        ('[[expect]]\nmeasure = "resets"', "expect[0].measure", "mean 'full_resets'?"),
        ('[[expect]]\nmeasure = "returns"', "expect[0].exactly", "it bounds nothing"),
        (
            '[[expect]]\nmeasure = "returns"\nexactly = 0\npack = "nroth"',
            "expect[0].pack",
            "mean 'north'?",
        ),
        (
            '[[expect]]\nmeasure = "load_kwh"\nexactly = 0\npack = "north"',
            "expect[0].pack",
            "the whole bank",
        ),
    ],
)
def test_a_table_that_cannot_be_is_refused(
    tmp_path: Path, table: str, column: str, message: str
) -> None:
    error = refused(tmp_path, f"{PIER}\n{table}\n")
    assert error.column == column
    assert message in str(error)


def test_an_unknown_curve_is_refused(tmp_path: Path) -> None:
    curve = 'series_ohm = 0.00025, curve = "lfp"'
    error = refused(tmp_path, PIER.replace("series_ohm = 0.00025", curve))
    assert error.column == "every_pack.cell.curve"
    assert "'lfp-naumann-2018', 'lead-acid'" in str(error)


def test_what_is_no_toml_is_refused_with_its_line(tmp_path: Path) -> None:
    error = refused(tmp_path, PIER + "\nhours: 3\n")
    assert error.line == PIER.count("\n") + 2


def test_another_length_and_other_random_numbers() -> None:
    scenario = changed(shipped("thin-cable"), hours=1.5, seed=9)
    assert (scenario.world.duration_s, scenario.world.seed) == (5400.0, 9)
    assert shipped("thin-cable").world.seed == 0


def test_the_stored_schema_is_that_of_the_classes() -> None:
    Draft202012Validator.check_schema(schema())
    assert PATH.read_text(encoding="utf-8") == text()


@pytest.mark.parametrize("name", shipped_names())
def test_the_schema_takes_every_shipped_scenario(name: str) -> None:
    assert complaints((FOLDER / f"{name}.toml").read_text(encoding="utf-8")) == []
    assert complaints(to_toml(shipped(name))) == []


@pytest.mark.parametrize(
    ("old", "new", "path"),
    [
        ("capacity_ah = 280", "capacity_ah = 0", "$.every_pack.cell.capacity_ah"),
        ("length_m = 2", "length_m = -2", "$.every_pack.lead.length_m"),
        ("length_m = 2", 'length_m = "2 m"', "$.every_pack.lead.length_m"),
        ("length_m = 2", "length_cm = 2", "$.every_pack.lead"),
        ("cells = 8", "cells = 0", "$.bank.cells"),
        ('title = "A pier"', "", "$"),
        ("hold_s = 900", 'hold_s = "none"', "$.pack[1].settings.hold_s"),
    ],
)
def test_the_schema_refuses_what_reading_refuses(old: str, new: str, path: str) -> None:
    assert complaints(PIER) == []
    assert path in complaints(PIER.replace(old, new))


def test_every_setting_but_the_cells_is_in_the_schema() -> None:
    settings: dict[str, Any] = schema()["properties"]["every_pack"]["properties"]["settings"]
    assert set(settings["properties"]) == set(Settings().to_mapping()) - {"cells"}


def expectation(**bounds: Any) -> Expectation:
    return Expectation(measure="full_resets", pack="each", **bounds)


@pytest.mark.parametrize(
    ("bounds", "value", "met"),
    [
        ({"exactly": 2}, 2.0, True),
        ({"exactly": 2}, 3.0, False),
        ({"at_least": 2}, 2.0, True),
        ({"at_least": 2}, 1.0, False),
        ({"at_least": 2, "at_most": 4}, 4.0, True),
        ({"at_least": 2, "at_most": 4}, 5.0, False),
        ({"at_most": 4}, float("nan"), False),
    ],
)
def test_bounds_of_an_expectation(bounds: dict[str, float], value: float, met: bool) -> None:
    assert Observed(expectation(**bounds), "hut", value).met is met


def test_an_expectation_is_told_in_words() -> None:
    told = Observed(expectation(at_least=1, at_most=2), "hut", 3.0).sentence
    assert told == "hut: full resets: 3, expected at least 1 and at most 2"


def test_a_current_is_asked_for_only_where_it_means_something() -> None:
    assert [name for name, m in MEASURES.items() if m.at_current] == ["charger_above_pack_mv"]
    with pytest.raises(InputError, match="at_charger_a: full_resets has no use for it"):
        expectation(exactly=1, at_charger_a=20.0)
