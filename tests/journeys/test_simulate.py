"""`fullproof simulate` as a user has it: what is run, what is told, what is written."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import orjson
import pytest

from harness.cases.trace_file import read as read_trace
from harness.cases.vector import read_vector
from harness.cli.main import main
from harness.report import bank_panels
from harness.world.scenario import FOLDER, shipped, shipped_names
from tests.journeys.command_line import ROOT, Ended, environment

SCENARIO = (FOLDER / "one-pack-fuller.toml").read_text(encoding="utf-8")
# A controller that gives up after so many samples.
DIES = """
from harness.examples.python.controller import Controller


class Dies(Controller):
    left = 300

    def step(self, *reading):
        self.left -= 1
        if self.left < 0:
            raise RuntimeError("the watchdog barked")
        return super().step(*reading)
"""
Simulate = Callable[..., Ended]


@pytest.fixture
def simulate(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Simulate:
    """Runs the command line in this process, where what is compiled has been loaded already."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")

    def call(*arguments: str | Path) -> Ended:
        code = main(["simulate", *map(str, arguments)])
        said = capsys.readouterr()
        assert "Traceback" not in said.out + said.err
        assert "a fault of fullproof itself" not in said.err
        return Ended(code, said.out, said.err)

    return call


def scenario(folder: Path, *changes: tuple[str, str]) -> str:
    """The fuller pack for a short while, changed, in a file."""
    text = SCENARIO
    for old, new in (("hours = 8", "hours = 0.2"), *changes):
        assert old in text
        text = text.replace(old, new)
    (folder / "hut.toml").write_text(text, encoding="utf-8")
    return "hut.toml"


def without_expectations(folder: Path) -> str:
    name = scenario(folder)
    text = (folder / name).read_text(encoding="utf-8")
    (folder / name).write_text(text[: text.index("[[expect]]")], encoding="utf-8")
    return name


def test_a_process_of_its_own_says_the_same() -> None:
    ended = subprocess.run(
        [sys.executable, "-m", "harness.cli.main", "simulate", "thin-cable"],
        cwd=ROOT,
        env=environment(),
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=300,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
    assert "charger above pack at 20 A: 39" in ended.stdout
    assert "all met" in ended.stdout
    assert ended.stderr == ""


@pytest.mark.parametrize("arguments", [(), ("--list",), ("thin-cable", "--list")])
def test_the_shipped_ones_are_listed(simulate: Simulate, arguments: tuple[str, ...]) -> None:
    ended = simulate(*arguments)
    assert ended.code == 0
    assert [line.split()[0] for line in ended.out.splitlines()] == list(shipped_names())
    assert ended.err == "17 scenarios\n"


def test_the_page_names_every_scenario() -> None:
    page = (ROOT / "docs" / "how-to" / "simulate.md").read_text(encoding="utf-8")
    for name in shipped_names():
        assert f"| `{name}` | {shipped(name).title} |" in page


def test_timeline_sums_and_expectations_are_told(simulate: Simulate) -> None:
    ended = simulate("lead-finishes-first")
    assert ended.code == 0
    lines = ended.out.splitlines()
    (started,) = [line for line in lines if line.startswith("day 1") and "hold started" in line]
    assert started.split()[3:5] == ["east", "absorption"]
    assert any(line.split()[:2] == ["east", "3"] for line in lines)
    assert any(line.split()[:3] == ["north", "0", "-"] for line in lines)
    assert "met      north: full resets: 0, expected exactly 0" in lines
    assert "6 expectations, all met" in lines
    assert "the cell maker's limits" in ended.out
    assert any("lost in packs" in line and "kWh" in line for line in lines)


def test_an_expectation_that_is_not_met_ends_with_1(simulate: Simulate, tmp_path: Path) -> None:
    ended = simulate(scenario(tmp_path))
    assert ended.code == 1
    assert "not met  east: full resets: 0, expected exactly 1" in ended.out
    assert "not met  first full resets apart: nothing, expected at most 1 min" in ended.out


def test_a_run_that_is_cut_short_is_not_held_against_the_scenario(simulate: Simulate) -> None:
    ended = simulate("one-pack-fuller", "--until", "0.1")
    assert ended.code == 0
    assert "The expectations of the scenario were not looked at: --until cut" in ended.out
    assert "not met" not in ended.out


def test_a_controller_that_breaks_a_rule_ends_with_1(simulate: Simulate) -> None:
    ended = simulate("one-pack-fuller", "--controller", "ref:first_touch")
    assert ended.code == 1
    assert "HOLD.full-length (must)" in ended.out
    assert "one-pack-fuller/east at t = 8310 s" in ended.out
    assert "16 requirements exercised, 1 broken" in ended.out


def test_one_pack_has_another_controller(simulate: Simulate, tmp_path: Path) -> None:
    name = without_expectations(tmp_path)
    example = "py:harness.examples.python.controller:Controller"
    ended = simulate(name, "--controller", f"2={example}", "--json", "out.json")
    assert ended.code == 0, ended.out
    told = orjson.loads((tmp_path / "out.json").read_bytes())
    assert [pack["controller"]["spec"] for pack in told["packs"]] == ["ref", example, "ref"]
    # The other loop, and another implementation of the same rules: the same numbers.
    assert simulate(name, "--json", "ref.json").code == 0
    usual = orjson.loads((tmp_path / "ref.json").read_bytes())
    for pack, reference in zip(told["packs"], usual["packs"], strict=True):
        assert pack["true_soc"] == pytest.approx(reference["true_soc"], abs=1e-12)
        assert pack["counted_soc"] == pytest.approx(reference["counted_soc"], abs=1e-9)


def test_a_controller_that_dies_leaves_behind_what_ran(simulate: Simulate, tmp_path: Path) -> None:
    name = without_expectations(tmp_path)
    (tmp_path / "dies.py").write_text(DIES, encoding="utf-8")
    ended = simulate(
        name, "--controller", "north=py:dies.py:Dies", "--json", "-", "--csv", "kept",
        "--plot", "kept.png",
    )  # fmt: skip
    assert ended.code == 1
    assert "the controller of north" in ended.err
    assert "the watchdog barked" in ended.err
    told = orjson.loads(ended.out)
    assert told["exit_code"] == 1
    assert told["stop"]["step"] == 300
    (finding,) = told["findings"]
    assert finding["requirement"].startswith("LINK.")
    assert finding["index"] == 300
    assert len(read_trace(tmp_path / "kept" / "north.csv")) == 300
    assert (tmp_path / "kept.png").exists()


def test_a_controller_that_never_starts_ends_with_1(simulate: Simulate) -> None:
    ended = simulate(
        "thin-cable", "--controller", f"exec:{sys.executable} -c 'raise SystemExit(3)'"
    )
    assert ended.code == 1
    assert "LINK.greets" in ended.out or "LINK.stays-alive" in ended.out


def test_physics_that_cannot_go_on_ends_with_3(simulate: Simulate, tmp_path: Path) -> None:
    name = without_expectations(tmp_path)
    with (tmp_path / name).open("a", encoding="utf-8") as file:
        file.write(
            '[loads]\nevents = [{ name = "short", power_w = 1e6, at = "08:05", minutes = 1 }]\n'
        )
    ended = simulate(name, "--csv", "kept", "--json", "out.json")
    assert ended.code == 3
    told = " ".join(ended.out.split())
    assert "Stopped at 08:05:01 (step 301) by the physics: the bus voltage is not above" in told
    assert "load_a 8528" in told
    assert "what came after was not judged" in told
    assert len(read_trace(tmp_path / "kept" / "east.csv")) == 301
    assert orjson.loads((tmp_path / "out.json").read_bytes())["stop"]["step"] == 301


def test_readings_are_written_in_the_battery_data_format(
    simulate: Simulate, tmp_path: Path
) -> None:
    assert simulate(without_expectations(tmp_path), "--csv", "out").code == 0
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "east.csv",
        "north.csv",
        "west.csv",
    ]
    head, first = (tmp_path / "out" / "east.csv").read_text(encoding="utf-8").splitlines()[:2]
    assert head.startswith("Test Time / s,Voltage / V,Current / A,")
    assert "True State of Charge / %" in head
    assert first.split(",")[0] == "1"
    trace = read_trace(tmp_path / "out" / "east.csv")
    assert len(trace) == 720
    assert 53.0 < trace.v[0] < 55.0
    assert trace.i[0] > 0.0


def test_a_saved_vector_can_be_tried_on_a_controller(
    simulate: Simulate, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert simulate("thin-cable", "--save-vector", "thin.json").code == 0
    vector = read_vector(tmp_path / "thin.json")
    assert vector.id == "simulated/thin-cable-hut"
    (reset_s,) = vector.expected.resets
    assert reset_s == pytest.approx(8522.0, abs=60.0)
    assert main(["replay", "ref", "thin.json"]) == 0
    assert "none broken" in capsys.readouterr().out
    assert main(["replay", "ref:counting_only", "thin.json"]) == 1


def test_several_packs_are_several_vectors(simulate: Simulate, tmp_path: Path) -> None:
    assert simulate(without_expectations(tmp_path), "--save-vector", "kept.json").code == 0
    names = sorted(path.name for path in tmp_path.glob("kept*.json"))
    assert names == ["kept-east.json", "kept-north.json", "kept-west.json"]
    assert {read_vector(tmp_path / name).soc for name in names} == {0.85, 0.7}


def test_what_was_run_is_saved_as_a_scenario(simulate: Simulate, tmp_path: Path) -> None:
    name = without_expectations(tmp_path)
    ended = simulate(name, "--seed", "5", "--until", "0.1", "--save-scenario", "again.toml")
    assert ended.code == 0
    again = simulate("again.toml", "--json", "-")
    assert again.code == 0
    told = orjson.loads(again.out)
    assert (told["seed"], told["hours"]) == (5, 0.1)


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_a_picture_is_drawn(simulate: Simulate, tmp_path: Path, kind: str) -> None:
    name = f"out.{kind}"
    assert simulate("oven-during-the-hold", "--plot", name).code == 0
    content = (tmp_path / name).read_bytes()
    if kind == "png":
        assert content[:8] == b"\x89PNG\r\n\x1a\n"
        size = int.from_bytes(content[16:20], "big"), int.from_bytes(content[20:24], "big")
        assert size == (1200, 900)
        return
    text = content.decode()
    for word in ("runs on", "restarts", "entry_v", "full_v 55.6", "float_v 54", "full reset",
                 "true voltage, V", "12:00", "absorption"):  # fmt: skip
        assert word in text
    assert simulate("oven-during-the-hold", "--plot", "again.svg").code == 0
    assert (tmp_path / "again.svg").read_bytes() == content


def test_a_year_is_drawn_day_by_day(simulate: Simulate, tmp_path: Path) -> None:
    assert simulate("meters-drift-over-a-year", "--plot", "year.svg").code == 0
    assert "highest of each day" in (tmp_path / "year.svg").read_text(encoding="utf-8")
    assert (tmp_path / "year.svg").stat().st_size < 2_000_000


def test_without_the_library_a_picture_is_refused_before_anything_runs(
    simulate: Simulate, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bank_panels, "find_spec", lambda _: None)
    ended = simulate("thin-cable", "--plot", "out.png")
    assert ended.code == 2
    assert ended.out == ""
    assert "a picture needs matplotlib" in ended.err
    assert "pip install 'fullproof[plots]'" in ended.err


@pytest.mark.parametrize(
    ("wanted", "placed"),
    [
        ([0.1, 0.5, 0.9], [0.1, 0.5, 0.9]),
        ([0.5, 0.5], [0.45, 0.55]),
        ([0.5, 0.5, 0.5], [0.4, 0.5, 0.6]),
        ([0.3, 0.5, 0.52], [0.3, 0.46, 0.56]),
        ([0.0, 0.02], [0.0, 0.1]),
        ([0.98, 1.0, 1.0], [0.8, 0.9, 1.0]),
        ([0.4, 0.5, 0.52], [0.373333, 0.473333, 0.573333]),
    ],
)
def test_names_beside_a_panel_keep_apart(wanted: list[float], placed: list[float]) -> None:
    assert bank_panels.apart(wanted, 0.1) == pytest.approx(placed, abs=1e-6)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("thin-cabel",),
            "there is no file and no scenario 'thin-cabel'; did you mean 'thin-cable'",
        ),
        (("lost.toml",), "lost.toml: there is no such file"),
        ((".",), "is a folder"),
        (("thin-cable", "--controller", "rfe"), "there is no controller 'rfe'"),
        (("thin-cable", "--controller", "ref", "--controller", "ref"), "two controllers for every"),
        (("thin-cable", "--controller", "3=ref"), "there is no pack '3'"),
        (("thin-cable", "--controller", "hat=ref"), "did you mean 'hut'?"),
        (("thin-cable", "--controller", "1=ref", "--controller", "hut=ref"), "for the pack hut"),
        (("thin-cable", "--controller", "ref:lst_touch"), "there is no reset rule 'lst_touch'"),
        (("thin-cable", "--plot", "out.gif"), "it must end in .png or .svg"),
        (("thin-cable", "--plot", "nowhere/out.png"), "its folder does not exist"),
        (("thin-cable", "--json", "nowhere/out.json"), "its folder does not exist"),
        (("thin-cable", "--until", "0"), "0"),
        (("thin-cable", "--until", "nan"), "not a finite number"),
        (("thin-cable", "--seed", "-1"), "-1"),
    ],
)
def test_wrong_use_ends_with_2(
    simulate: Simulate, arguments: tuple[str, ...], message: str
) -> None:
    ended = simulate(*arguments)
    assert ended.code == 2
    assert message in ended.err
    assert ended.out == ""


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("series_ohm = 0.00025", "series_ohm = 0", "hut.toml:30: every_pack.cell.series_ohm: "),
        ("capacity_ah = 280\nseries", "capacity_ah = 0\nseries", "every_pack.cell.capacity_ah: "),
        ("length_m = 2,", "length_m = -2,", "hut.toml:25: every_pack.lead.length_m: "),
        ("length_m = 2,", "length_mm = 2000,", "did you mean 'length_m'?"),
        ("current_a = 90", 'current_a = "90 A"', "charger.current_a: there is '90 A'; a number"),
        ("current_a = 90", "current_ma = 90", "did you mean 'current_a'?"),
        ("cells = 16", "cells = 16.5", "bank.cells: there is 16.5; a whole number"),
        ("[charger]", "[charger", "hut.toml:"),
    ],
)
def test_a_bank_that_cannot_be_ends_with_2(
    simulate: Simulate, tmp_path: Path, old: str, new: str, message: str
) -> None:
    ended = simulate(scenario(tmp_path, (old, new)))
    assert ended.code == 2
    assert message in ended.err
    assert ended.err.count("\n") == 1
    assert ended.out == ""
