"""`fullproof pair` as a user has it: who fills what, who is to blame, what is written."""

from __future__ import annotations

import csv
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import orjson
import pytest

from harness.cli.main import main
from harness.report import bank_panels
from tests.journeys.command_line import ROOT, Ended

SCENARIO = """
title = "A pier with a thin cable"
shows = "Two packs of eight cells behind a thin cable, with a load at their end of it."
source = "common practice, no source"
run = { hours = 0.35, start_at = "08:00", interval_s = 5 }
bank = { cells = 8 }
charger = { current_a = 60, interval_s = 5 }
loads = { base_w = 350 }

[wiring]
main = { length_m = 4, mm2 = 6, joints = 6, joint_ohm = 0.0005 }

[every_pack]
soc = 0.985
cell = { capacity_ah = 100, series_ohm = 0.0006 }
settings = { capacity_ah = 100, hold_s = 300 }
meter = { interval_s = 5, voltage_step_v = 0.01 }

[[pack]]
name = "north"

[[pack]]
name = "south"
"""
CHARGERS = '''
from harness.examples.python.charger import Charger


class OwnTerminals(Charger):
    """Never looks at what the packs read."""

    name = "own-terminals"

    def _compensate(self, own_v, own_a, dt):
        pass


class Dies(Charger):
    left = 20

    def step(self, *sample):
        self.left -= 1
        if self.left < 0:
            raise RuntimeError("the watchdog barked")
        return super().step(*sample)


class Refuses(Charger):
    def __init__(self, settings):
        raise ValueError("no such day for charging")
'''
CONTROLLERS = '''
from harness.examples.python.controller import Controller


class Early(Controller):
    """Calls its pack full at the tenth sample, whatever it reads."""

    taken = 0

    def step(self, *reading):
        self.taken += 1
        return {**super().step(*reading), "full_reset": self.taken == 10}


class Gives(Controller):
    """Gives up after twenty samples."""

    taken = 0

    def step(self, *reading):
        self.taken += 1
        if self.taken > 20:
            raise RuntimeError("out of memory")
        return super().step(*reading)


class Never(Controller):
    """Never calls its pack full."""

    def step(self, *reading):
        return {**super().step(*reading), "stage": "bulk", "full_reset": False}
'''
OWN = "py:chargers.py:OwnTerminals"
EXAMPLE = "py:harness.examples.python.controller:Controller"
Pair = Callable[..., Ended]


@pytest.fixture
def pair(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Pair:
    """Runs the command line in this process, beside the pier and its chargers."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")
    (tmp_path / "pier.toml").write_text(SCENARIO, encoding="utf-8")
    (tmp_path / "chargers.py").write_text(CHARGERS, encoding="utf-8")
    (tmp_path / "controllers.py").write_text(CONTROLLERS, encoding="utf-8")

    def call(*arguments: str) -> Ended:
        code = main(["pair", *arguments])
        said = capsys.readouterr()
        assert "Traceback" not in said.out + said.err
        assert "a fault of fullproof itself" not in said.err
        return Ended(code, said.out, said.err)

    return call


def written(file: str = "out.json") -> Any:
    return orjson.loads(Path(file).read_bytes())


def documented() -> list[str]:
    """The members of the document that the page names, in their order."""
    page = (ROOT / "docs" / "how-to" / "pair.md").read_text(encoding="utf-8")
    table = page.partition("{#json}")[2].partition("\n## ")[0]
    return [line.split("`")[1] for line in table.splitlines() if line.startswith("| `")]


def words(ended: Ended) -> str:
    """The output without its line ends."""
    return " ".join(ended.out.split())


def test_the_reference_pair_fills_every_pack(pair: Pair) -> None:
    ended = pair("pier.toml", "--json", "out.json")
    assert ended.code == 0, ended.out
    assert "This pair fills every pack." in ended.out
    rows = {line.split()[0]: line.split() for line in ended.out.splitlines() if "99.7" in line}
    assert set(rows) == {"north", "south"}
    assert rows["north"][1].startswith("08:08")
    assert "2 packs, highest_a 60.0, stale_s 15.0, max_gap_s 15.0" in ended.out
    assert "the cell maker's limits" in ended.out
    told = written()
    assert list(told) == documented()
    assert (told["format"], told["version"], told["exit_code"]) == ("fullproof pair", 1, 0)
    assert told["fills_every_pack"] is True
    assert "the cell maker's limits" in str(told["caution"])
    assert told["crossed"] == []
    north, south = told["packs"]
    for pack in (north, south):
        # Twelve amperes of load and some more in 16 mΩ.
        assert 0.15 < pack["set_point_above_request_v"] < 0.25
        assert pack["reset"]["true_soc"] == pytest.approx(0.998, abs=0.002)
        assert pack["voltage_account"] is None


def test_a_charger_that_looks_at_its_own_terminals_is_found_and_blamed(pair: Pair) -> None:
    ended = pair("pier.toml", "--charger", OWN, "--json", "out.json")
    assert ended.code == 1
    assert "This pair does not fill north and south; the charger broke SENSE.reaches." in words(
        ended
    )
    assert "The charger is why: with the reference charger in its place" in words(ended)
    assert "SENSE.reaches (must): what the line loses is made good" in ended.out
    assert "because its hold never started" in ended.out
    # 28 V less 16.2 mΩ times 12.6 A, and what the steps of the meter hide.
    assert "200 mV under the 28.000 V asked for: the set-point stood at the request" in words(ended)
    assert "205 mV were lost between charger and bus at 12.6 A" in words(ended)
    told = written()
    assert [pack["filled"] for pack in told["packs"]] == [False, False]
    account = told["packs"][0]["voltage_account"]
    parts = account["main_v"] + account["lead_v"]
    parts -= account["above_v"] + account["charger_v"] + account["meter_v"]
    assert parts == pytest.approx(account["asked_v"] - account["read_v"], abs=1e-9)
    (crossed,) = told["crossed"]
    assert (crossed["controllers"], crossed["charger"]) == ("reference", "reference")
    assert crossed["fills_every_pack"] is True


def test_alone_tries_no_reference(pair: Pair) -> None:
    ended = pair("pier.toml", "--charger", OWN, "--alone", "--json", "out.json")
    assert ended.code == 1
    assert "is why" not in ended.out
    assert written()["crossed"] == []


def test_two_strangers_and_the_one_of_them_who_is_to_blame(pair: Pair) -> None:
    ended = pair(
        "pier.toml", "--charger", OWN, "--controller", EXAMPLE, "--json", "out.json"
    )  # fmt: skip
    assert ended.code == 1
    assert "The charger is why" in ended.out
    sides = [
        (each["controllers"], each["charger"], each["fills_every_pack"])
        for each in written()["crossed"]
    ]
    assert sides == [
        ("reference", "reference", True),
        ("under test", "reference", True),
        ("reference", "under test", False),
    ]


def test_one_controller_that_never_finishes_is_blamed(pair: Pair) -> None:
    ended = pair("pier.toml", "--controller", "south=py:controllers.py:Never")
    assert ended.code == 1
    assert "This pair does not fill south; the controller of south broke ENTRY." in words(ended)
    assert "The controllers are why" in ended.out
    assert "north was not filled" not in ended.out


def test_a_pack_that_is_called_full_too_early_is_not_filled(pair: Pair, tmp_path: Path) -> None:
    (tmp_path / "pier.toml").write_text(SCENARIO.replace("0.985", "0.6"), encoding="utf-8")
    ended = pair(
        "pier.toml", "--controller", "1=py:controllers.py:Early", "--until", "0.05", "--alone",
        "--json", "out.json",
    )  # fmt: skip
    assert ended.code == 1
    assert "Its controller called it full at 08:00:50, at a true 60.2 %" in words(ended)
    north = written()["packs"][0]
    assert north["early_reset"]["true_soc"] == pytest.approx(0.602, abs=0.001)
    assert north["filled"] is False


def test_too_little_time_is_nobodys_fault(pair: Pair) -> None:
    ended = pair("pier.toml", "--until", "0.1")
    assert ended.code == 1
    assert "This is the reference pair: look for the cause in wiring, meters, settings" in words(
        ended
    )
    assert "none broken" not in ended.out


def test_programs_on_both_sides(pair: Pair) -> None:
    python = f"exec:{sys.executable} -m harness.examples.python"
    ended = pair(
        "pier.toml", "--controller", f"north={python}.controller", "--charger",
        f"{python}.charger", "--until", "0.02", "--alone",
    )  # fmt: skip
    assert ended.code == 1, ended.out
    assert "example-charger-python 1.0" in ended.out
    assert "This pair does not fill north and south." in ended.out
    assert "broke" not in ended.out


def test_settings_of_the_charger_can_be_changed(pair: Pair) -> None:
    ended = pair("pier.toml", "--charger-set", "compensation_v=0.01", "--alone")
    assert ended.code == 1
    assert "compensation_v 0.01" in ended.out
    assert "set-point stood 10 mV above the request" in words(ended)


def test_a_charger_that_dies_leaves_behind_what_ran(pair: Pair) -> None:
    ended = pair(
        "pier.toml", "--charger", "py:chargers.py:Dies", "--alone", "--json", "-", "--csv", "kept",
        "--plot", "kept.png",
    )  # fmt: skip
    assert ended.code == 1
    assert "Stopped at 08:01:40 (step 20) by the charger" in ended.err
    assert "the watchdog barked" in ended.err
    told = orjson.loads(ended.out)
    (finding,) = told["charger"]["findings"]
    assert finding["requirement"].startswith("LINK.")
    assert (finding["index"], finding["t"]) == (20, 100.0)
    assert told["stop"]["step"] == 20
    with Path("kept/charger.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 20
    assert (rows[0]["t"], rows[0]["pack_v_1"], rows[0]["state"]) == ("0.0", "", "stopped")
    assert (rows[-1]["request_v_2"], rows[-1]["stage_2"], rows[-1]["state"]) == (
        "28.0", "bulk", "following",
    )  # fmt: skip
    assert Path("kept/north.csv").exists()
    assert Path("kept.png").stat().st_size > 10_000


def test_a_controller_that_dies_is_not_taken_for_the_charger(pair: Pair) -> None:
    ended = pair("pier.toml", "--controller", "south=py:controllers.py:Gives", "--alone")
    assert ended.code == 1
    assert "(step 20) by the controller of south" in ended.out
    assert "the controller of south broke LINK.stays-alive" in words(ended)
    assert "the charger broke" not in words(ended)


def test_a_charger_that_refuses_to_start_ends_with_1(pair: Pair) -> None:
    ended = pair("pier.toml", "--charger", "py:chargers.py:Refuses")
    assert ended.code == 1
    assert "LINK.starts" in ended.out
    assert "no such day for charging" in ended.out


def test_physics_that_cannot_go_on_ends_with_3(pair: Pair, tmp_path: Path) -> None:
    short = (
        '{ base_w = 350, events = [{ name = "short", power_w = 1e6, at = "08:02", minutes = 1 }] }'
    )
    text = SCENARIO.replace("loads = { base_w = 350 }", f"loads = {short}")
    (tmp_path / "pier.toml").write_text(text, encoding="utf-8")
    ended = pair("pier.toml", "--alone")
    assert ended.code == 3
    assert "by the physics: the bus voltage is not above" in words(ended)


def test_a_picture_says_in_words_what_it_draws(pair: Pair) -> None:
    assert pair("pier.toml", "--plot", "out.svg").code == 0
    drawn = Path("out.svg").read_text(encoding="utf-8")
    for word in (
        "This pair fills every pack.", "request", "set-point", "limit", "bus", "following",
        "fallback", "stopped", "full reset", "north", "south", "time of day",
    ):  # fmt: skip
        assert f">{word}" in drawn, word


def test_without_the_library_a_picture_is_refused_before_anything_runs(
    pair: Pair, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bank_panels, "find_spec", lambda _: None)
    ended = pair("pier.toml", "--plot", "out.png")
    assert ended.code == 2
    assert "a picture needs matplotlib" in ended.err


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((), "Missing argument 'SCENARIO'"),
        (("peir",), "there is no file and no scenario 'peir'"),
        (("pier.toml", "--charger", "rfe"), "there is no charger 'rfe'; did you mean 'ref'?"),
        (("pier.toml", "--charger", "py:nothing.py:X"), "there is no file nothing.py"),
        (("pier.toml", "--controller", "west=ref"), "there is no pack 'west'"),
        (("pier.toml", "--charger-set", "sense_tim_s=3"), "did you mean 'sense_time_s'?"),
        (("pier.toml", "--charger-set", "stale_s"), "changes nothing; write it as NAME=VALUE"),
        (
            ("pier.toml", "--charger-set", "stale_s=long"),
            "stale_s is 'long', of type str; it must be a finite number",
        ),
        (("pier.toml", "--charger-set", "stale_s=true"), "it must be a finite number"),
        (("pier.toml", "--charger-set", "stale_s=99"), "it must be stale_s < silent_s"),
        (("pier.toml", "--charger-set", "packs=3"), "how many packs there are"),
        (("pier.toml", "--charger-set", "plausible_v=20"), "the low and the high bound"),
        (("pier.toml", "--plot", "out.gif"), "it must end in .png or .svg"),
        (("pier.toml", "--json", "nowhere/out.json"), "its folder does not exist"),
        (("pier.toml", "--csv", "pier.toml"), "is no folder"),
        (("pier.toml", "--until", "0"), "0"),
        (("meters-drift-over-a-year",), "--until 24 runs a day of it; --until 8760 runs it whole"),
        (("pier.toml", "--limit-s", "nan"), "not a finite number"),
    ],
)
def test_wrong_use_is_told_before_anything_runs(
    pair: Pair, arguments: tuple[str, ...], message: str
) -> None:
    ended = pair(*arguments)
    assert ended.code == 2
    assert message in ended.err
    assert ended.out == ""
