"""`replay --role charger`: the timeline of one trace beside the reference, and what it breaks."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from harness.charger.cases import charger_cases
from harness.charger.vector import ChargerVector, to_json
from tests.journeys.test_charger_reports import Call, call

__all__ = ["call"]
HEAD = "t,own_v,own_a,request_v_1,request_a_1,pack_v_1,pack_a_1,age_s_1"


def pier(rows: int = 14) -> str:
    """A pack that asks for 28 V and 10 A, once a second."""
    lines = [f"{t},26.5,5,28,10,26.4,{5 + t % 2 / 10},0.25" for t in range(rows)]
    return "\n".join([HEAD, *lines]) + "\n"


def test_what_it_did_stands_beside_the_reference(call: Call) -> None:
    ended = call("replay", "py:deaf.py:Deaf", "stale/wire-off")
    assert ended.code == 1
    lines = [" ".join(line.split()) for line in ended.out.splitlines()]
    first = next(k for k, line in enumerate(lines) if line.startswith("t in s"))
    assert lines[first + 1 : first + 6] == [
        "0 following stopped 56.000 50.00 the pack asks for 56 V and 50 A",
        "10 following 56.000 50.00 every message has been fresh for 10 s",
        "45 following fallback 56.000 50.00 a message is older than 5 s",
        "100 following stopped 56.000 50.00 a pack is silent for over 60 s",
        "171 following 56.000 50.00 every message has been fresh for 10 s",
    ]
    assert "STALE.falls-back (must)" in ended.out
    assert lines[-1] == "11 requirements exercised, 3 broken"


def test_moves_are_summed_up(call: Call, tmp_path: Path) -> None:
    ended = call("replay", "ref", "stale/wire-off", "--json", "told.json")
    assert ended.code == 0
    assert "reference: its state" not in ended.out
    moments = json.loads((tmp_path / "told.json").read_text())["moments"]
    told = [(m["t"], m["before"], m["after"], m["happened"]) for m in moments]
    assert told[1] == (
        *(10.0, "stopped", "following"),
        [
            "every message has been fresh for 10 s",
            "set-point rises from 54 to 56 V over 20 s",
            "limit rises from 0 to 50 A over 10 s",
        ],
    )
    assert (45.0, "following", "fallback") in [each[:3] for each in told]
    assert {moment["reference"] for moment in moments} == {""}


def test_a_loss_of_power_is_told(call: Call) -> None:
    ended = call("replay", "ref", "restart/while-following")
    assert "power lost" in ended.out
    assert ended.code == 0


def test_a_csv_is_read_with_the_settings_that_are_given(call: Call, tmp_path: Path) -> None:
    (tmp_path / "pier.csv").write_text(pier())
    (tmp_path / "pier.toml").write_text("steady_s = 4\n")
    ended = call(
        *("replay", "ref", "pier.csv", "--settings", "pier.toml", "--cells", "8"),
        *("--set", "plausible_v=15,35", "--rows", "--csv", "out.csv"),
    )
    assert ended.code == 0
    assert "steady_s 4.0" in ended.out
    assert "plausible_v" in ended.out
    assert ended.out.splitlines()[0].split()[-3:] == ["set_point_v", "limit_a", "state"]
    with (tmp_path / "out.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["state"] for row in rows] == ["stopped"] * 4 + ["following"] * 10
    assert rows[4]["limit_a"] == "5"
    assert rows[0]["stage_1"] == ""


def test_what_is_written_without_its_answers_is_read_again(call: Call, tmp_path: Path) -> None:
    assert call("replay", "ref", "packs/two-requests", "--csv", "out.csv").code == 0
    lines = (tmp_path / "out.csv").read_text().splitlines()
    assert lines[1].split(",")[-3:] == ["54", "0", "stopped"]
    trace = "\n".join(line.rsplit(",", 3)[0] for line in lines)
    (tmp_path / "trace.csv").write_text(trace + "\n")
    ended = call("replay", "ref", "trace.csv", "--csv", "again.csv")
    assert "settings    2 packs, else the defaults" in ended.out
    assert (tmp_path / "again.csv").read_text().splitlines() == lines


def test_the_file_of_a_vector_is_the_case(call: Call, tmp_path: Path) -> None:
    case = next(each for each in charger_cases() if each.id == "stale/wire-off")
    vector = ChargerVector(
        *(case.id, "the wire is off", case.story, "it happens", case.settings, case.trace),
        requirements=("STALE.stops",),
        catches=("a charger that goes on",),
    )
    (tmp_path / "wire.json").write_text(to_json(vector))
    ended = call("replay", "py:deaf.py:Deaf", "wire.json", "--set", "silent_s=90")
    assert ended.code == 1
    assert "trace       stale/wire-off: the wire is off" in ended.out
    assert "a pack is silent for over 90 s" in ended.out


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "the file is empty; the first line must be t,own_v,own_a,request_v_1"),
        (HEAD + "\n", "hut.csv:2: there is a header and nothing else"),
        ("t,v,i\n0,54,1\n", "hut.csv:1: column 2 (v): there is no column 'v'"),
        (HEAD.replace("own_a", "t") + "\n0\n", "column 3 (t): there are two columns of the name"),
        (
            HEAD.replace(",age_s_1", "") + "\n0\n",
            "hut.csv:1: the column age_s_1 is missing; with 1 pack a trace has t, own_v",
        ),
        (HEAD + ",request_v_99999999\n0\n", "request_v_99999999"),
        (pier(2) + "2,26.5\n", "hut.csv:4: there are 2 cells, the header has 8 names"),
        (pier(1).replace("26.4", "low"), "hut.csv:2: column 6 (pack_v_1): there is 'low'"),
        (
            pier(1).replace("age_s_1", "age_s_1,stage_1").replace("0.25", "0.25,boost"),
            "column 9 (stage_1): there is 'boost'; a stage is one of bulk, absorption",
        ),
        ("\xff", "hut.csv:1: byte 0xff is not UTF-8"),
    ],
)
def test_what_is_no_trace_is_refused_where_it_is_wrong(
    call: Call, tmp_path: Path, text: str, told: str
) -> None:
    (tmp_path / "hut.csv").write_bytes(text.encode("latin-1"))
    ended = call("replay", "ref", "hut.csv")
    assert ended.code == 2
    assert told in ended.err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("ref", "stale/wire-of"), "there is no file and no vector 'stale/wire-of'; did you mean"),
        (("ref", "no.csv"), "no.csv: there is no such file"),
        (("ref", "."), "is a folder; name one trace in it"),
        (("ref", "stale/wire-off", "--soc", "0.5"), "--soc cannot be used with --role charger"),
        (("ref", "stale/wire-off", "--set", "hold_s=3"), "there is no setting 'hold_s'"),
        (("ref", "stale/wire-off", "--set", "stale_s=90"), "stale_s < silent_s"),
        (("ref", "stale/wire-off", "--set", "packs=2"), "the trace has messages of 1"),
        (("reff", "stale/wire-off"), "there is no charger 'reff'"),
    ],
)
def test_wrong_use_is_said(call: Call, arguments: tuple[str, ...], told: str) -> None:
    ended = call("replay", *arguments)
    assert ended.code == 2
    assert told in ended.err


def test_a_fault_of_the_link_is_a_finding(call: Call, tmp_path: Path) -> None:
    (tmp_path / "mute.py").write_text(
        "class Mute:\n"
        "    name, version, role = 'mute', '1', 'charger'\n"
        "    def __init__(self, settings): pass\n"
        "    def power_cycle(self): pass\n"
        "    def step(self, t, own_v, own_a, packs): return {'state': 'following'}\n"
    )
    ended = call("replay", "py:mute.py:Mute", "stale/wire-off")
    assert ended.code == 1
    assert "LINK." in ended.out
