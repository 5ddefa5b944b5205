"""`replay`: the timeline of one trace, and what it breaks."""

from __future__ import annotations

import csv
import json
from pathlib import Path

from tests.journeys.command_line import ROOT, Fullproof, zoo

HUT = """\
t,v,i
0,54.0,20
10,55.9,20
20,55.9,20
30,55.9,20
100,55.7,5
130,55.7,5
150,55.7,5
"""


def lines_after(text: str, head: str) -> list[str]:
    lines = text.splitlines()
    start = next(k for k, line in enumerate(lines) if line.startswith(head))
    return lines[start + 1 : lines.index("", start)]


def test_a_vector_has_its_expectation_beside_what_happened(fullproof: Fullproof) -> None:
    ended = fullproof("replay", "ref", "hold/sag-runs-on")
    assert ended.code == 0
    assert "settings    16 cells, hold_s 120.0, return_soc none, empty_v none" in ended.out
    assert [line.split() for line in lines_after(ended.out, "t in s")] == [
        ["0", "bulk", "bulk", "50.000"],
        ["8.5", "absorption", "bulk", "->", "absorption", "50.002", "hold", "started"],
        [
            *("129", "float", "absorption", "->", "float", "100.000"),
            *("hold", "expired,", "full", "reset"),
        ],
    ]
    assert ended.out.endswith("requirements exercised, none broken\n")


def test_what_differs_from_the_expectation_is_marked(fullproof: Fullproof) -> None:
    ended = fullproof("replay", zoo("hold-one-minute-short"), "hold/sag-runs-on")
    assert ended.code == 1
    rows = lines_after(ended.out, "t in s")
    early = next(row for row in rows if row.lstrip().startswith("68.5"))
    assert early.endswith("full reset, was not expected")
    late = next(row for row in rows if row.lstrip().startswith("129"))
    assert late.split()[1] == "float"
    assert late.endswith("did not happen")
    assert "HOLD.sag-runs-on (must)" in ended.out
    assert "1 broken" in ended.out.splitlines()[-1]


def test_the_reference_tells_causes(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "hut.csv").write_text(HUT)
    ended = fullproof("replay", "ref", "hut.csv", "--set", "hold_s=60")
    assert ended.code == 0
    assert "hold started" in ended.out
    assert "hold abandoned: discontinuity" in ended.out
    assert "expected" not in ended.out.partition("what happened")[0]


def test_settings_come_from_a_file_and_from_options(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "pier.toml").write_text('hold_s = 60\ncells = 8\nreturn_soc = "none"\n')
    (tmp_path / "pier.csv").write_text("t,v,i\n0,27.0,5\n")
    ended = fullproof(
        *("replay", "ref", "pier.csv", "--settings", "pier.toml", "--set", "float_s=90"),
        *("--set", "plausible_v=8,32", "--soc", "0.25"),
    )
    assert ended.code == 0
    assert "settings    8 cells, hold_s 60.0, float_s 90.0, return_soc none" in ended.out
    assert "25.000" in ended.out


def test_a_vector_with_other_settings_has_no_expectation(fullproof: Fullproof) -> None:
    ended = fullproof("replay", "ref", "hold/sag-runs-on", "--set", "hold_s=30")
    assert ended.code == 0
    assert "expected" not in ended.out
    assert "hold_s 30.0" in ended.out


def test_the_file_of_a_vector_is_the_vector(fullproof: Fullproof) -> None:
    by_id = fullproof("replay", "ref", "hold/sag-runs-on")
    by_file = fullproof("replay", "ref", ROOT / "vectors" / "hold" / "sag-runs-on.json")
    assert by_file == by_id


def test_a_battery_data_format_file_is_read(fullproof: Fullproof) -> None:
    path = ROOT / "vectors" / "published" / "lfp-cccv-16s.bdf.csv"
    ended = fullproof("replay", "ref", path, "--set", "hold_s=600")
    assert ended.code == 0
    assert "hold started" in ended.out
    assert "full reset" in ended.out


def test_csv_holds_samples_and_answers_exactly(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "hut.csv").write_text("t,v,i,temp_c\n0,54.1,20,\n0.1,54.30000000000001,20,3.5\n")
    ended = fullproof("replay", "ref", "hut.csv", "--csv", "answers.csv")
    assert ended.code == 0
    with (tmp_path / "answers.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["v"] for row in rows] == ["54.1", "54.30000000000001"]
    assert [row["temp_c"] for row in rows] == ["", "3.5"]
    assert [row["stage"] for row in rows] == ["bulk", "bulk"]
    assert rows[0]["full_reset"] == "false"
    assert float(rows[1]["soc"]) == 0.5 + 20 * 0.1 / (3600 * 280)


def test_json_holds_the_timeline_and_the_findings(fullproof: Fullproof) -> None:
    ended = fullproof("replay", zoo("hold-one-minute-short"), "hold/sag-runs-on", "--json", "-")
    assert ended.code == 1
    told = json.loads(ended.out)
    assert told["moments"][0] == {
        "index": 0,
        "t": 0.0,
        "before": "",
        "after": "bulk",
        "soc": 0.5,
        "happened": [],
        "expected": "bulk",
        "agrees": True,
    }
    assert [finding["requirement"] for finding in told["findings"]] == ["HOLD.sag-runs-on"]


def test_rows_prints_every_sample(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "hut.csv").write_text(HUT)
    ended = fullproof("replay", "ref", "hut.csv", "--rows")
    rows = ended.out.split("\n\n")[0].splitlines()
    assert rows[0].split()[:4] == ["t", "v", "i", "stage"]
    assert len(rows) == 1 + 7
    assert rows[3].split()[:4] == ["20", "55.9", "20", "absorption"]


def test_a_power_cycle_is_told(fullproof: Fullproof) -> None:
    listed = fullproof("vectors", "list", "--requirement", "POWER.keeps-soc")
    vector = listed.out.split()[0]
    ended = fullproof("replay", "ref", vector)
    assert ended.code == 0
    assert "power lost" in ended.out


def test_fixed_settings_cannot_be_changed(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "fixed.py").write_text(
        "from ctrl.settings import Settings\n"
        "from harness.examples.python.controller import Controller\n"
        "class Fixed(Controller):\n"
        "    name = 'pier'\n"
        "    fixed = Settings.for_cells(8, hold_s=40).to_mapping()\n"
    )
    refused = fullproof("replay", "py:fixed.py:Fixed", "hold/full-length", "--set", "hold_s=50")
    assert refused.code == 2
    assert "the settings of pier are fixed" in refused.err
    ended = fullproof("verify", "py:fixed.py:Fixed", "--select", "hold/*", "--quiet")
    assert ended.code == 0
    told = " ".join(ended.out.split())
    assert "not applicable: hold/" in told
    assert "on_sag must be pause, it is run" in told
