"""A charger is judged, its result is stored, told again, excused and compared, as a user does it."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest

from harness.cli.main import main
from tests.journeys.command_line import Ended

Call = Callable[..., Ended]
DEAF = '''
class Deaf:
    """It follows what it once heard, for ever."""

    name, version, role = "deaf", "1", "charger"

    def __init__(self, settings):
        self.power_cycle()

    def power_cycle(self):
        self.asked = None

    def step(self, t, own_v, own_a, packs):
        for pack in packs:
            if pack["request_v"] is not None:
                self.asked = pack["request_v"], pack["request_a"] or 0.0
        if self.asked is None:
            return {"set_point_v": 54.0, "limit_a": 0.0, "state": "stopped"}
        return {"set_point_v": self.asked[0], "limit_a": self.asked[1], "state": "following"}
'''
SOME = ("--select", "stale/wire-off", "--select", "sense/thin-cable")


@pytest.fixture
def call(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Call:
    """Runs a command line in this process and in a folder of its own, in which `deaf.py` is."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")
    (tmp_path / "deaf.py").write_text(DEAF, encoding="utf-8")

    def run(command: str, *arguments: str | Path) -> Ended:
        code = main([command, "--role", "charger", *map(str, arguments)])
        said = capsys.readouterr()
        assert "Traceback" not in said.out + said.err
        assert "a fault of fullproof itself" not in said.err
        return Ended(code, said.out, said.err)

    return run


def report(capsys: pytest.CaptureFixture[str], *arguments: str) -> Ended:
    code = main(["report", *arguments])
    said = capsys.readouterr()
    return Ended(code, said.out, said.err)


def test_every_form_is_made_again_from_the_stored_result(
    call: Call, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    forms = ("json", "html", "junit", "markdown")
    written = [part for form in forms for part in (f"--{form}", f"first.{form}")]
    first = call("verify", "py:deaf.py:Deaf", *SOME, *written)
    assert first.code == 1
    written = [part for form in forms for part in (f"--{form}", f"second.{form}")]
    second = report(capsys, "first.json", *written)
    assert second == first
    for form in forms:
        assert (tmp_path / f"first.{form}").read_bytes() == (
            tmp_path / f"second.{form}"
        ).read_bytes()
    assert json.loads((tmp_path / "first.json").read_text())["role"] == "charger"


def test_failures_are_written_as_known_and_then_excused(call: Call, tmp_path: Path) -> None:
    written = call("verify", "py:deaf.py:Deaf", *SOME, "--quiet", "--write-known", "known.toml")
    assert written.code == 1
    assert 'requirement = "SENSE.reaches"' in (tmp_path / "known.toml").read_text()
    excused = call("verify", "py:deaf.py:Deaf", *SOME, "--quiet", "--known", "known.toml")
    assert excused.code == 0
    assert "conforms, but for known failures" in excused.out
    out_of_date = call("verify", "ref", *SOME, "--quiet", "--known", "known.toml")
    assert out_of_date.code == 1
    assert "passes now, take it out of the list" in out_of_date.out


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ('requirement = "HOLD.ends"\nreason = "old"', "there is no requirement 'HOLD.ends'"),
        (
            'requirement = "SENSE.reaches"\nvector = "hold/sag-runs-on"\nreason = "old"',
            "there is no vector 'hold/sag-runs-on'",
        ),
    ],
)
def test_a_list_of_known_failures_names_what_a_charger_has(
    call: Call, tmp_path: Path, entry: str, told: str
) -> None:
    (tmp_path / "known.toml").write_text(f"[[known]]\n{entry}\n")
    ended = call("verify", "ref", "--known", "known.toml")
    assert ended.code == 2
    assert told in ended.err


def test_only_what_got_worse_is_told_against_a_baseline(
    call: Call, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call("verify", "ref", *SOME, "--quiet", "--json", "ref.json").code == 0
    worse = call("verify", "py:deaf.py:Deaf", *SOME, "--baseline", "ref.json", "--json", "now.json")
    assert worse.code == 1
    assert "new: SENSE.reaches in sense/thin-cable" in worse.out
    assert "the charger was reference 0.1.0, it is deaf 1" in worse.out
    same = report(capsys, "now.json", "--baseline", "now.json")
    assert same.code == 0
    assert "nothing got worse" in same.out
    document = json.loads((tmp_path / "ref.json").read_text())
    document["role"], document["controller"] = "controller", document.pop("charger")
    document["results"] = []
    document["end"] = {"results": 0, "findings": 0, "excerpts": 0, "complete": True}
    (tmp_path / "other.json").write_text(json.dumps(document))
    other = call("verify", "ref", *SOME, "--baseline", "other.json")
    assert other.code == 2
    assert "other.json: it holds a controller, and this is a charger" in other.err


def test_the_command_that_is_told_shows_a_finding_again(call: Call) -> None:
    ended = call("verify", "py:deaf.py:Deaf", *SOME, "--quiet")
    told = [line for line in ended.out.splitlines() if line.strip().startswith("again")]
    assert told
    words = shlex.split(told[0])[1:]
    assert words[:4] == ["fullproof", "replay", "--role", "charger"]
    again = call("replay", *words[4:])
    assert again.code == 1
    assert "sense/thin-cable: " in again.out
    assert "SENSE.reaches (must)" in again.out


def test_the_zoo_is_tried_by_cases_and_by_the_hunt(call: Call, tmp_path: Path) -> None:
    ended = call(
        *("zoo", "steps-up", "--seeds", "1", "--traces", "10", "--workers", "1"),
        *("--json", "zoo.json", "--html", "zoo.html"),
    )
    assert ended.code == 0
    told = " ".join(ended.out.split())
    assert "The vectors find 1 of 1 faulty charger, 1 of them in a requirement" in told
    assert "The hunt (1 seed, 10 traces each) finds all of 1" in told
    document = json.loads((tmp_path / "zoo.json").read_text())
    assert (document["role"], document["exit_code"]) == ("charger", 0)
    (fault,) = document["faults"]
    assert fault["vectors"]["named"] is True
    assert set(fault["breaks"]) <= set(fault["vectors"]["found"])
    assert fault["hunt"]["found_in"] == 1
    assert "<h1>The zoo of faulty chargers</h1>" in (tmp_path / "zoo.html").read_text()


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("steps-down",), "no faulty charger fits 'steps-down'; did you mean 'steps-up'?"),
        (("--operator", "boundary"), "--operator cannot be used with --role charger"),
    ],
)
def test_wrong_use_of_the_zoo_is_said(call: Call, arguments: tuple[str, ...], told: str) -> None:
    ended = call("zoo", *arguments)
    assert ended.code == 2
    assert told in ended.err


def test_a_fault_that_no_case_finds_is_a_failure(
    call: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    from harness.charger.faults import FAULTS, Altered, Fault
    from harness.zoo import charger as zoo

    monkeypatch.setitem(FAULTS, "none", Fault("none", "It is right.", ("SENSE.idle",), Altered))
    zoo.charger_subjects.cache_clear()
    ended = call("zoo", "none", "--vectors-only", "--workers", "1")
    zoo.charger_subjects.cache_clear()
    assert ended.code == 1
    assert "Not found by any vector" in ended.out
    assert "none: It is right" in ended.out
