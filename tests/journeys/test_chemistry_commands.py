"""`--chemistry`: profiles shown with their sources, and the reference judged under each of them."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest

from ctrl.chemistry import CHEMISTRIES, GAS, PROFILES
from ctrl.figures import Mark
from ctrl.settings import Settings
from harness.cli.main import main


class Said:
    """What a command line printed, and how it ended."""

    def __init__(self, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]) -> None:
        self.code = main(arguments)
        told = capsys.readouterr()
        self.out, self.err = told.out, told.err
        self.words = " ".join(re.sub(r"^#", "", self.out, flags=re.MULTILINE).split())
        assert "Traceback" not in self.out + self.err


@pytest.mark.parametrize("name", CHEMISTRIES)
def test_reference_conforms_under_each_profile(
    capsys: pytest.CaptureFixture[str], name: str
) -> None:
    cells = str(PROFILES[name].usual_cells[0])
    said = Said(capsys, ("verify", "ref", "--chemistry", name, "--cells", cells, "--quiet"))
    assert "verdict        conforms" in said.out
    tried = re.search(r"tried +(\d+) cases, (\d+) not applicable", said.out)
    assert tried
    assert int(tried[1]) > 100
    assert said.code == 0


def test_fault_under_a_profile_is_found_and_told_with_the_profile_to_try_it_again(
    capsys: pytest.CaptureFixture[str],
) -> None:
    command = ("verify", "ref:first_touch", "--chemistry", "lead_gel", "--cells", "6")
    said = Said(capsys, (*command, "--quiet", "--select", "full/waits-and-confirms"))
    assert said.code == 1
    again = f"fullproof {' '.join(command)} --quiet --select full/waits-and-confirms"
    assert f"again {again}" in said.words


def test_verify_writes_the_vectors_for_a_file_of_settings(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "bank.toml"
    file.write_text("taper_a = 3\n")
    given = (
        "--chemistry",
        "lead_agm",
        "--settings",
        str(file),
        "--select",
        "full/waits-and-confirms",
    )
    said = Said(capsys, ("verify", "ref", *given, "--json", str(tmp_path / "result.json")))
    assert said.code == 0
    result = json.loads((tmp_path / "result.json").read_text())
    assert result["environment"]["command"].count("--chemistry lead_agm") == 1


def test_vectors_are_written_under_a_profile(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    arguments = ("vectors", "render", "--chemistry", "lead_gel", "--cells", "12")
    said = Said(capsys, (*arguments, str(tmp_path)))
    assert said.code == 0
    capacity_ah = Settings().capacity_ah
    expected = json.loads(
        json.dumps(Settings.for_chemistry("lead_gel", 12, capacity_ah).to_mapping())
    )
    written = [json.loads(file.read_text()) for file in tmp_path.glob("*/*.json")]
    assert len(written) > 100
    assert all(vector["settings"] == expected for vector in written)


def test_a_trace_is_replayed_under_a_profile(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    trace = tmp_path / "gel.csv"
    trace.write_text("t,v,i\n0,27.9,5\n10,28.3,5\n20,28.3,5\n")
    said = Said(capsys, ("replay", "ref", str(trace), "--chemistry", "lead_gel", "--cells", "12"))
    assert said.code == 0
    assert "absorption_v 28.2" in said.words
    assert "bulk -> absorption" in said.words


@pytest.mark.parametrize("name", CHEMISTRIES)
def test_profile_is_shown_with_marks_and_cautions(
    capsys: pytest.CaptureFixture[str], name: str
) -> None:
    said = Said(capsys, ("settings", "chemistry", name, "--cells", "12", "--capacity-ah", "200"))
    assert said.code == 0
    chosen = PROFILES[name]
    assert all(caution in said.words for caution in chosen.cautions)
    assert (GAS in said.words) is name.startswith("lead_")
    notes = dict(re.findall(r"\[(\d+)\] ([^\[]+)", said.words.partition("at rest, full")[2]))
    rows = dict(re.findall(r"^(\w+) .*\[(\d+)\]$", said.out, re.MULTILINE))
    assert set(rows) | {"full"} >= set(chosen.figures)
    for setting, figure in chosen.figures.items():
        assert figure.told in notes[rows[setting]].strip()
    bank = Settings.for_chemistry(name, 12, 200.0)
    assert re.search(rf"^absorption_v +{bank.absorption_v:g} ", said.out, re.MULTILINE)
    assert ("must never be equalised" in said.words) is bool(chosen.no_equalisation)


def test_profiles_are_listed_with_what_ends_absorption(capsys: pytest.CaptureFixture[str]) -> None:
    said = Said(capsys, ("settings", "chemistry"))
    assert re.findall(r"^(\w+): ", said.out, re.MULTILINE) == list(CHEMISTRIES)
    assert said.out.count("equalisation: forbidden") == 4
    assert "licensed practice" in said.out


def test_shown_settings_carry_their_marks_and_can_be_given_back(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    given = ("--chemistry", "lead_flooded", "--cells", "6", "--set", "capacity_ah=100")
    said = Said(capsys, ("settings", "show", *given, "--set", "hold_s=1800"))
    bank = Settings.for_chemistry("lead_flooded", 6, 100.0, hold_s=1800.0)
    values = {name: None if v == "none" else v for name, v in tomllib.loads(said.out).items()}
    assert Settings.from_mapping(values) == bank
    assert GAS in said.words
    lines = said.out.splitlines()
    above = {
        line.partition(" = ")[0]: lines[k - 1] for k, line in enumerate(lines) if " = " in line
    }
    assert above["absorption_v"] == f"# lead_flooded: {Mark.MEMORY.value}"
    assert "Harrington & Dunlop" in above["compensation_v_per_c"]
    assert above["max_gap_s"] == f"# lead_flooded: {Mark.PRACTICE.value}"
    # What the user gave is nobody's common practice.
    assert "lead_flooded" not in above["hold_s"]
    assert "lead_flooded" not in above["capacity_ah"]

    file = tmp_path / "bank.toml"
    file.write_text(said.out)
    checked = Said(capsys, ("settings", "check", str(file)))
    assert (checked.code, "warnings: 0" in checked.out) == (0, True)
    assert GAS in checked.words
    told = Said(capsys, ("margins", str(file), "--json", "-"))
    assert told.code == 0
    document = json.loads(told.out)
    assert GAS in document["caution"]
    assert document["installation"]["rest_cell_v"] == 2.12


def test_file_stands_over_the_profile_and_set_over_both(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "bank.toml"
    file.write_text("cells = 12\nhold_s = 60\nfloat_v = 26.4\n")
    given = ("--chemistry", "lead_gel", "--settings", str(file), "--set", "hold_s=90")
    told = tomllib.loads(Said(capsys, ("settings", "show", *given)).out)
    assert (told["cells"], told["hold_s"], told["float_v"]) == (12, 90.0, 26.4)
    assert told["absorption_v"] == 28.2


def test_margins_and_check_measure_by_the_chemistry_that_is_named(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "bank.toml"
    file.write_text("cells = 12\nequalisation_every_s = 864000\n")
    checked = Said(capsys, ("settings", "check", str(file), "--chemistry", "lead_gel"))
    assert "1. equalisation_every_s, equalisation_v Nothing is ever equalised" in checked.words
    said = Said(capsys, ("margins", str(file), "--chemistry", "lead_gel"))
    assert said.code == 1
    assert "a full cell at rest at 2.14 V" in said.words
    assert "What is scheduled can happen. WARNING" in said.words


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("settings", "show", "--chemistry", "lead"), "'lead' is not one of 'lfp'"),
        (("settings", "chemistry", "lead"), "'lead' is not one of 'lfp'"),
        (
            ("settings", "show", "--chemistry", "lead_agm", "--set", "equalisation_v=31"),
            "equalisation_v is 31, and lead-acid in glass mat (AGM) must not be equalised",
        ),
        (("verify", "ref", "--chemistry", "lfp", "--set", "hold_s=-1"), "hold_s is -1"),
        (("settings", "show", "--chemistry", "lfp", "--set", "cells=x"), "cells is 'x'"),
        (("verify", "log:", "--chemistry", "lfp"), "log: names no file"),
        (
            ("verify", "--role", "charger", "ref", "--chemistry", "lfp"),
            "--chemistry belongs to a controller",
        ),
        (
            ("hunt", "--role", "charger", "ref", "--chemistry", "lfp"),
            "--chemistry belongs to a controller",
        ),
        (
            ("replay", "--role", "charger", "ref", "sense/thin-cable", "--chemistry", "lfp"),
            "--chemistry belongs to a controller",
        ),
        (
            ("vectors", "render", "--role", "charger", "--chemistry", "lfp", "never-written"),
            "--chemistry belongs to a controller",
        ),
    ],
)
def test_wrong_use_ends_with_2_and_says_what_would_be_right(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], expected: str
) -> None:
    said = Said(capsys, arguments)
    assert said.code == 2
    assert expected in said.err


def test_controller_with_fixed_settings_is_not_given_others(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "built_in.py"
    file.write_text(_FIXED)
    said = Said(capsys, ("verify", f"py:{file}:Controller", "--chemistry", "lfp", "--quiet"))
    assert said.code == 2
    assert "the settings of this controller are fixed" in said.err


_FIXED = """
from ctrl.settings import Settings


class Controller:
    name, version, features, fixed = "built-in", "1", [], Settings().to_mapping()

    def __init__(self, settings, soc):
        pass

    def step(self, *readings):
        return {"stage": "bulk"}

    def power_cycle(self):
        pass
"""
