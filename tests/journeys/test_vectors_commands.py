"""`vectors`: listed, shown, checked, rendered."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.journeys.command_line import ROOT, Fullproof


def test_list_names_each_vector_once(fullproof: Fullproof) -> None:
    ended = fullproof("vectors", "list")
    assert ended.code == 0
    ids = [line.split()[0] for line in ended.out.splitlines()]
    assert ids == sorted(set(ids))
    assert "hold/sag-runs-on" in ids
    assert ended.err == f"{len(ids)} vectors\n"


def test_list_of_a_requirement_marks_what_must_not_happen(fullproof: Fullproof) -> None:
    ended = fullproof("vectors", "list", "--requirement", "HOLD.sag-pauses", "--json", "-")
    assert ended.code == 0
    told = json.loads(ended.out)
    assert all("HOLD.sag-pauses" in each["requirements"] for each in told)
    negative = [each["id"] for each in told if "HOLD.sag-pauses" in each["negative"]]
    text = fullproof("vectors", "list", "--requirement", "HOLD.sag-pauses").out
    marked = [line.split()[0] for line in text.splitlines() if "(must not happen)" in line]
    assert marked == negative
    assert negative


def test_show_tells_all_there_is_to_know(fullproof: Fullproof) -> None:
    ended = fullproof("vectors", "show", "hold/sag-runs-on", "--rows", "3")
    assert ended.code == 0
    for line in (
        "hold/sag-runs-on: A sag does not stop the hold timer",
        "requirements  HOLD.ends, HOLD.sag-runs-on",
        "settings      16 cells, hold_s 120.0, return_soc none, empty_v none",
        "stages        bulk at 0 s, absorption at 8.5 s, float at 129 s",
        "full resets   at 129 s",
        "0.5  54.3  2.8",
        "and 136 more rows",
    ):
        assert line in ended.out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("show", "hold/sag-run-on"), "no vector 'hold/sag-run-on'; did you mean 'hold/sag-runs-"),
        (("list", "--requirement", "HOLD.sags"), "there is no requirement 'HOLD.sags'"),
        (("check", "lost"), "lost: there is no such folder"),
        (("render",), "no folder was named; name one to write into, or use --shipped"),
        (("render", "--shipped", "--cells", "8"), "--shipped goes with no folder and no settings"),
        (("render", "--shipped", "--requirement", "HOLD.ends"), "and with no --requirement"),
        (("render", "mine", "--requirement", "HOLD.end"), "'HOLD.end'; did you mean 'HOLD.ends'"),
    ],
)
def test_what_is_not_there(fullproof: Fullproof, arguments: tuple[str, ...], message: str) -> None:
    ended = fullproof("vectors", *arguments)
    assert ended.code == 2
    assert message in ended.err


def test_check_counts_what_is_there(fullproof: Fullproof) -> None:
    ended = fullproof("vectors", "check", "--verbose")
    assert ended.code == 0
    assert "76 requirements exercised, nothing wrong" in " ".join(ended.out.split())
    row = next(line for line in ended.out.splitlines() if line.startswith("HOLD.sag-pauses"))
    assert [int(number) for number in row.split()[1:]] == [9, 4]


def test_check_names_each_problem(fullproof: Fullproof, tmp_path: Path) -> None:
    copy = tmp_path / "vectors"
    shutil.copytree(ROOT / "vectors", copy)
    (copy / "hold" / "sag-runs-on.csv").write_text("t,v,i\n")
    (copy / "hold" / "sag-pauses.json").unlink()
    (copy / "hold" / "stranger.csv").write_text("t,v,i\n")
    ended = fullproof("vectors", "check", "vectors")
    assert ended.code == 1
    told = ended.out.splitlines()
    assert "hold/sag-pauses.json: the file is missing; render the vectors again (files)" in told
    assert "hold/stranger.csv: there is no recipe for this file (files)" in told
    assert told[-1] == "vectors: 3 problems"


def test_render_writes_the_set_for_other_settings(fullproof: Fullproof, tmp_path: Path) -> None:
    ended = fullproof("vectors", "render", "--cells", "8", "pier")
    assert ended.code == 0
    last = ended.out.splitlines()[-1]
    vectors = len(list((tmp_path / "pier").rglob("*.json")))
    assert last.startswith(f"pier: {vectors} vectors, ")
    assert "not applicable: hold/sag-pauses: on_sag must be pause, it is run" in ended.out
    replayed = fullproof("replay", "ref", "pier/hold/sag-runs-on.json")
    assert replayed.code == 0
    assert "settings    8 cells, else the defaults" in replayed.out


def test_render_writes_only_what_exercises_some_requirements(
    fullproof: Fullproof, tmp_path: Path
) -> None:
    options = ("--requirement", "FULL.wait", "--requirement", "HOLD.sag-pauses")
    ended = fullproof("vectors", "render", "mine", "--set", "on_sag=pause", *options)
    assert ended.code == 0
    rendered = [json.loads(path.read_text()) for path in (tmp_path / "mine").rglob("*.json")]
    assert rendered
    assert all("HOLD.sag-pauses" in each["requirements"] for each in rendered)
    # Without `wait` there is nothing to wait for, and nothing else is named.
    left_out = [line for line in ended.out.splitlines() if line.startswith("not applicable: ")]
    assert any(line.startswith("not applicable: full/wait") for line in left_out)
    assert f"{len(rendered)} vectors, {len(left_out)} not applicable" in ended.out
