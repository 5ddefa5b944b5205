"""`vectors --role charger`: listed, shown, checked, rendered."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.journeys.command_line import Fullproof

CHARGER = ("--role", "charger")


def test_list_names_each_vector_once_and_those_of_a_requirement(fullproof: Fullproof) -> None:
    ended = fullproof("vectors", "list", *CHARGER)
    ids = [line.split()[0] for line in ended.out.splitlines()]
    assert (ended.code, ended.err) == (0, f"{len(ids)} vectors\n")
    assert ids == sorted(set(ids))
    assert "sense/thin-cable" in ids
    ended = fullproof("vectors", "list", *CHARGER, "--requirement", "SENSE.idle", "--json", "-")
    told = json.loads(ended.out)
    assert [each["id"] for each in told if "SENSE.idle" not in each["negative"]] == []
    assert {"sense/cloud", "sense/held-up"} <= {each["id"] for each in told}


def test_show_tells_all_there_is_to_know(fullproof: Fullproof) -> None:
    ended = fullproof("vectors", "show", *CHARGER, "stale/wire-off", "--rows", "2")
    assert ended.code == 0
    for line in (
        "stale/wire-off: The wire comes off for two minutes",
        "must not      RECOVER.waits",
        "settings      1 pack, else the defaults",
        "states        stopped at 0 s, following at 10 s, fallback at 45 s, stopped at",
        "either        at 10 samples another state is right too",
        "1  53.35     12           56           50      53.2      20.1     bulk     0.25",
        "1  stopped     -                  -                54              -             0",
        "and 210 more rows",
    ):
        assert line in ended.out, ended.out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("show", "sense/thin-cables", *CHARGER),
            "no vector 'sense/thin-cables'; did you mean 'se",
        ),
        (("show", "hold/sag-runs-on", *CHARGER), "there is no vector 'hold/sag-runs-on'"),
        (("list", *CHARGER, "--requirement", "HOLD.ends"), "there is no requirement 'HOLD.ends'"),
        (("render", *CHARGER, "--set", "hold_s=3", "x"), "there is no setting 'hold_s'"),
        (("render", *CHARGER, "--set", "stale_s=90", "x"), "it must be stale_s < silent_s"),
    ],
)
def test_what_is_not_there(fullproof: Fullproof, arguments: tuple[str, ...], message: str) -> None:
    ended = fullproof("vectors", *arguments)
    assert ended.code == 2
    assert message in ended.err


def test_check_counts_what_is_there(fullproof: Fullproof) -> None:
    ended = fullproof("vectors", "check", *CHARGER, "--verbose")
    assert ended.code == 0
    assert "47 vectors, " in ended.out
    assert "40 requirements exercised, nothing wrong" in " ".join(ended.out.split())
    row = next(line for line in ended.out.splitlines() if line.startswith("SENSE.comes-down"))
    assert [int(number) for number in row.split()[1:]] == [2, 0]


def test_render_writes_the_set_for_other_settings(fullproof: Fullproof, tmp_path: Path) -> None:
    ended = fullproof("vectors", "render", *CHARGER, "--cells", "8", "pier")
    assert ended.code == 0
    assert "not applicable: packs/one-zero: packs must be 2 or more, it is 1" in ended.out
    assert ended.out.splitlines()[-1] == "pier: 40 vectors, 7 not applicable; 120 files written"
    assert len(list((tmp_path / "pier").rglob("*.expected.csv"))) == 40
    read = json.loads((tmp_path / "pier" / "sense" / "thin-cable.json").read_text())
    assert (read["settings"]["highest_v"], read["rows"][100][3]) == (29, 28)


def test_verify_selects_by_the_id_of_a_vector(fullproof: Fullproof) -> None:
    ended = fullproof("verify", *CHARGER, "--select", "packs/*", "ref")
    assert ended.code == 0
    assert "7 cases" in ended.out
