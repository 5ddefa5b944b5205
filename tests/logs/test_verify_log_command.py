"""`fullproof verify log:FILE` says and returns what a user needs."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from harness.cli.main import main
from harness.report.store import from_json
from harness.run import Outcome
from tests.logs.writing import charge, log_file, mapping_file

DEMO = Path(__file__).resolve().parents[2] / "harness" / "logs" / "examples"
COMPLETE = '[log]\ncomplete = true\n[columns]\nv = "v"\ni = "i"\nstage = "stage"\n'


def _run(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[int, str, str]:
    code = main([str(argument) for argument in arguments])
    said = capsys.readouterr()
    assert "Traceback" not in said.out + said.err
    return code, said.out, said.err


def test_the_shipped_log_shows_a_hold_that_was_too_short(
    capsys: pytest.CaptureFixture[str],
) -> None:
    log, mapping = f"log:{DEMO / 'hut-pack-2.csv'}", DEMO / "hut-pack-2.toml"
    code, out, _ = _run(capsys, "verify", log, "--mapping", mapping)
    assert code == 1
    assert "broken         HOLD.full-length (1)" in out
    assert "line 544 of hut-pack-2.csv, 2026-06-21 10:31:30+02:00" in out
    code, out, _ = _run(capsys, "verify", log, "--mapping", mapping, "--set", "hold_s=3000")
    assert code == 0
    assert "conforms, as far as the log shows" in out


def test_the_result_can_be_stored_in_every_form(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = log_file(tmp_path, charge(hold_s=3000))
    files = {form: tmp_path / f"result.{form}" for form in ("json", "junit", "html", "markdown")}
    options = [part for form, file in files.items() for part in (f"--{form}", file)]
    mapping = mapping_file(tmp_path, COMPLETE)
    code, _, _ = _run(
        capsys, "verify", f"log:{log}", "--mapping", mapping, "--cells", "16", *options
    )
    assert code == 1
    result = from_json(files["json"].read_bytes())
    by_name = {each.requirement: each for each in result.report.results}
    assert by_name["HOLD.full-length"].outcome is Outcome.FAIL
    assert by_name["LINK.cuts"].outcome is Outcome.NOT_OBSERVABLE
    assert by_name["LINK.cuts"].reason == "no controller runs: a log is read, not asked"
    document = json.loads(files["json"].read_text())
    assert document["exit_code"] == 1
    skipped = [s.get("message", "") for s in ET.parse(files["junit"]).iter("skipped")]
    assert "not observable: no controller runs: a log is read, not asked" in skipped
    assert "HOLD.full-length" in files["html"].read_text()
    assert "HOLD.full-length" in files["markdown"].read_text()


def test_what_is_asked_for_alone_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = log_file(tmp_path, charge())
    code, out, _ = _run(capsys, "verify", f"log:{log}", "--cells", "16", "--select", "HOLD.*")
    assert code == 0
    assert "HOLD.full-length" in out
    assert "FLOAT.stays" not in out
    # Nobody said its version, nor what it is written in.
    assert "controller     recorded controller\n" in out


def test_a_simulated_bank_writes_logs_that_conform(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scenario, folder = tmp_path / "pier.toml", tmp_path / "pier"
    scenario.write_text(
        """
title = "The pier"
shows = "Two packs of eight cells on a clear morning."
[run]
hours = 5
start_at = "09:00"
interval_s = 2
[bank]
cells = 8
[charger]
current_a = 60
interval_s = 2
[every_pack]
soc = 0.93
lead = { length_m = 2, mm2 = 35 }
cell = { capacity_ah = 100, series_ohm = 0.0004 }
settings = { capacity_ah = 100, hold_s = 1200 }
meter = { voltage_step_v = 0.01, interval_s = 2 }
[wiring]
main = { length_m = 8, mm2 = 25 }
[[pack]]
name = "north"
[[pack]]
name = "south"
""",
        encoding="utf-8",
    )
    assert _run(capsys, "simulate", scenario, "--csv", folder)[0] == 0
    settings = ["--cells", "8", "--set", "capacity_ah=100", "--set", "hold_s=1200"]
    code, out, _ = _run(capsys, "verify", f"log:{folder}", *settings)
    assert code == 0
    assert "tried          2 cases" in out
    assert "pass           HOLD.full-length" in out
    assert "pass           SOC.counts" in out
    # The same log by another hold is that of a controller that ends it too early.
    code, out, _ = _run(capsys, "verify", f"log:{folder}", *settings[:-1], "hold_s=1500")
    assert code == 1
    assert "HOLD.full-length (2)" in out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["log:"], "log: names no file"),
        (["log:nowhere.csv", "--cells", "16"], "nowhere.csv: cannot be read"),
        (["log:{log}"], "by which settings is the log to be judged?"),
        (
            ["log:{log}", "--cells", "16", "--mapping", "nowhere.toml"],
            "nowhere.toml: cannot be read",
        ),
        (["log:{blind}", "--cells", "16"], "the log has no column of stages"),
        (["log:{log}", "--set", "hold_s=-1"], "hold_s"),
        (["log:{torn}", "--cells", "16"], "torn.csv:3: column 2 (v): there is 'x'"),
        (
            ["ref", "--mapping", "map.toml"],
            "--mapping belongs to a log",
        ),
    ],
    ids=range(8),
)
def test_wrong_use_ends_with_2_and_says_what_would_be_right(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    names = {
        "log": log_file(tmp_path, charge()),
        "blind": log_file(tmp_path, "t,v,i\n0,53,1\n", "blind.csv"),
        "torn": log_file(tmp_path, "t,v,i,stage\n0,53,1,bulk\n1,x,1,bulk\n", "torn.csv"),
    }
    code, _, err = _run(capsys, "verify", *(a.format(**names) for a in arguments))
    assert code == 2
    assert said in err


def test_other_commands_say_who_takes_a_log(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = _run(capsys, "hunt", "log:pack.csv")
    assert code == 2
    assert "judge it with fullproof verify log:FILE" in err


def test_a_log_that_shows_nothing_could_not_be_judged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = log_file(tmp_path, "t,v,i,stage\n0,530,1,bulk\n1,530,1,bulk\n")
    code, out, _ = _run(capsys, "verify", f"log:{log}", "--cells", "16")
    assert code == 3
    assert "no row of it can be believed" in " ".join(out.split())
