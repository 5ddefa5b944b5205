"""`fullproof explain`: from a log to a reason and to what would help, through the command line."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.explain.examples import FOLDER, SHIPPED, files
from tests.journeys.command_line import Fullproof

HUT, PIER = FOLDER / "hut", FOLDER / "pier"


@pytest.mark.parametrize("name", SHIPPED)
def test_the_shipped_logs_are_what_their_banks_give(name: str) -> None:
    for file, content in files(name).items():
        assert (FOLDER / name / file).read_bytes() == content, file


def test_the_hut_is_explained(fullproof: Fullproof) -> None:
    ended = fullproof("explain", str(HUT))
    assert ended.code == 1
    assert "north: meters that differ" in ended.out
    assert "The pack peaked at 55.950 V, 20 mV short." in ended.out
    assert "look at north first" in ended.out
    assert "east: healthy" in ended.out
    assert "cell maker" in ended.out
    days = fullproof("explain", str(HUT), "--days")
    assert "meters that differ  3:43:00 h of the log" in days.out


def test_the_pier_is_explained_in_json(fullproof: Fullproof) -> None:
    ended = fullproof("explain", str(PIER), "--json", "-")
    assert ended.code == 1
    document = json.loads(ended.out)
    assert document["format"] == "fullproof explain"
    assert document["top"] == {"pack": "land", "day": 1, "cause": "wiring"}
    land = next(pack for pack in document["packs"] if pack["name"] == "land")
    between = land["between_charger_and_pack"]
    assert between["wiring_ohm"] == pytest.approx(0.0297, abs=0.001)
    assert land["reason"]["sure"] == "shown"
    assert land["reason"]["chain"][0]["rule"] == "ENTRY.held-long-enough"
    best = land["fixes"][0]
    assert best["helps"] is True
    assert "joints" in best["change"]
    assert document["end"] == {"packs": 2, "complete": True}


def test_wiring_is_set_beside_the_cable(fullproof: Fullproof) -> None:
    ended = fullproof("explain", str(PIER), "--cable", "land=35x4", "--cable", "water=35x4")
    told = " ".join(ended.out.split())
    # IEC 60228, class 5: 35 mm2 has at most 0.554 ohm a km at 20 degrees.
    assert "35 mm2 and 4 m there and back have at most 2.2 mOhm" in told
    assert "27.5 mOhm more lie in joints, fuses and switches" in told
    assert told.count("that fits") == 1


def test_one_file_with_settings_of_its_own(fullproof: Fullproof) -> None:
    one = (str(HUT / "east.csv.gz"), "--mapping", str(HUT / "mapping.toml"))
    without = fullproof("explain", str(HUT), "--set", "hold_s=600")
    assert without.code == 1
    ended = fullproof("explain", str(HUT), "--pack", f"north={HUT / 'north.toml'}", "--cells", "16")
    assert ended.code == 1
    missing = fullproof("explain", *one)
    assert missing.code == 2
    assert "Traceback" not in missing.err


def test_settings_can_be_read_off_the_log(fullproof: Fullproof, tmp_path: Path) -> None:
    folder = tmp_path / "log"
    folder.mkdir()
    for name in ("east.csv.gz", "mapping.toml"):
        shutil.copy(HUT / name, folder / name)
    text = (folder / "mapping.toml").read_text(encoding="utf-8")
    only = text.partition("[[pack]]")[0] + '[[pack]]\nname = "east"\nfile = "east.csv.gz"\n'
    (folder / "mapping.toml").write_text(only, encoding="utf-8")
    asked = fullproof("explain", str(folder))
    assert asked.code == 2
    assert "with which settings does east run?" in asked.err
    some = fullproof("explain", str(folder), "--infer")
    assert some.code == 2
    assert "does not show" in some.err
    assert "--set full_v=..." in some.err
    capacity = ("--set", "capacity_ah=100")
    given = (
        *capacity,
        "--set",
        "full_v=55.6",
        "--set",
        "entry_dwell_s=3",
        "--set",
        "entry_v=55.97",
    )
    ended = fullproof("explain", str(folder), "--infer", *given)
    assert ended.code == 0, ended.out + ended.err
    assert "hold_s = 36" in ended.out
    assert "east: healthy" in ended.out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("nothing.csv",), "nothing.csv"),
        ((str(HUT), "--pack", "south=x.toml"), "the log has no such pack"),
        ((str(HUT), "--pack", "north"), "names no file"),
        ((str(HUT), "--cable", "north=36x2"), "no conductor of 36.0 mm² in the table"),
        ((str(HUT), "--cable", "south=35x2"), "the log has no such pack"),
        ((str(HUT), "--cable", "north=35"), "is no cable"),
        ((str(HUT), "--set", "hold=3"), "there is no setting 'hold'"),
        ((str(HUT), "--mapping", str(HUT / "east.toml")), "east.toml"),
    ],
)
def test_wrong_use_is_told_in_a_line(
    fullproof: Fullproof, arguments: tuple[str, ...], told: str
) -> None:
    ended = fullproof("explain", *arguments)
    assert ended.code == 2
    assert told in ended.err
    assert "Traceback" not in ended.err
