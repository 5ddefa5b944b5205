"""`fullproof study`: from a file to a table, through the command line."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from harness.report.caution import CAUTION
from tests.journeys.command_line import Fullproof, environment
from tests.study.study_texts import OWN_RULE, TEXT

pytest.importorskip("pyarrow")
ROWS = ("banks.parquet", "estimates.parquet", "comparisons.parquet", "table.json")


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """A file of a small study."""
    path = tmp_path / "small.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def contents(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in ROWS}


def test_a_study_from_file_to_table(fullproof: Fullproof, small: Path, tmp_path: Path) -> None:
    out, page = tmp_path / "out", tmp_path / "page.html"
    ended = fullproof("study", str(small), "--out", str(out), "--html", str(page))
    assert ended.code == 0, ended.err
    assert "A small study" in ended.out
    assert "3 banks for 2 days each (0.01644 bank-years) in 8 arms, seed 0" in ended.out
    assert "voltage_after_hold, every, hold_s 1800" in ended.out
    assert CAUTION.split()[0] in ended.out
    assert f"written: {out}" in ended.err
    table = json.loads((out / "table.json").read_text())
    assert len(table["arms"]) == 8
    assert page.read_text() == (out / "study.html").read_text()
    assert "A small study" in page.read_text()
    assert json.loads((out / "study.json").read_text())["study"]["banks"] == 3


def test_workers_and_a_second_run_change_no_byte(
    fullproof: Fullproof, small: Path, tmp_path: Path
) -> None:
    small.write_text(TEXT.replace("banks = 3", "banks = 70").replace("days = 2", "days = 9"))
    one, two = tmp_path / "one", tmp_path / "two"
    assert fullproof("study", str(small), "--out", str(one), "--workers", "1").code == 0
    assert fullproof("study", str(small), "--out", str(two), "--workers", "2").code == 0
    assert contents(one) == contents(two)
    refused = fullproof("study", str(small), "--out", str(one))
    assert refused.code == 2
    assert "holds the rows of a study already; go on with --resume" in refused.err
    before = contents(one)
    assert fullproof("study", str(small), "--out", str(one), "--resume").code == 0
    assert contents(one) == before
    other = fullproof("study", str(small), "--out", str(one), "--resume", "--seed", "5")
    assert other.code == 2
    assert "the folder holds study" in other.err


def test_a_killed_run_goes_on_and_comes_to_the_same_bytes(
    fullproof: Fullproof, small: Path, tmp_path: Path
) -> None:
    small.write_text(TEXT.replace("banks = 3", "banks = 90").replace("days = 2", "days = 20"))
    whole, killed = tmp_path / "whole", tmp_path / "killed"
    assert fullproof("study", str(small), "--out", str(whole)).code == 0
    command = [sys.executable, "-m", "harness.cli.main", "study", str(small)]
    run = subprocess.Popen(
        [*command, "--out", str(killed), "--workers", "2"],
        env=environment(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        start_new_session=True,
    )  # fmt: skip
    parts = killed / "parts"
    deadline = time.monotonic() + 100.0
    while not (parts.is_dir() and len(list(parts.glob("*.parquet"))) >= 2):
        assert run.poll() is None
        assert time.monotonic() < deadline
        time.sleep(0.01)
    os.killpg(run.pid, signal.SIGKILL)
    run.wait()
    kept = len(list(parts.glob("*.parquet")))
    assert not (killed / "banks.parquet").exists()
    ended = fullproof("study", str(small), "--out", str(killed), "--resume")
    assert ended.code == 0, ended.err
    assert kept >= 2
    assert contents(killed) == contents(whole)


def test_a_rule_that_cannot_be_compiled_is_named(
    fullproof: Fullproof, small: Path, tmp_path: Path
) -> None:
    text = OWN_RULE.replace("level_v >= limits.full_v + 0.1", "open('x').read() == str(level_v)")
    (tmp_path / "own.py").write_text(text)
    small.write_text(TEXT.replace('"first_touch"]', '"py:own.py:RULE"]'))
    ended = fullproof("study", str(small), "--out", str(tmp_path / "out"), "--workers", "1")
    assert ended.code == 2
    assert "the condition of the reset rule 'higher' cannot be compiled" in ended.err
    assert "Traceback" not in ended.err


def test_the_plan_tells_and_runs_nothing(fullproof: Fullproof, small: Path, tmp_path: Path) -> None:
    ended = fullproof("study", str(small), "--plan", "--banks", "1000")
    assert ended.code == 0
    assert "1,000 of 2 packs, 2 days each" in ended.out
    assert "even from 0 to 10" in ended.out
    assert not (tmp_path / "small-study").exists()


def test_shipped_studies_are_named(fullproof: Fullproof) -> None:
    ended = fullproof("study", "--list")
    assert ended.code == 0
    assert "which-reset-rule  Which reset rule, under which bank policy?" in ended.out
    planned = fullproof("study", "which-reset-rule", "--plan")
    assert "15" in planned.out
    assert "1,000 of 3 packs, 365 days each" in planned.out


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ((), "no study is named"),
        (("nothing",), "there is no file and no study 'nothing'"),
        (("gone.toml",), "gone.toml: cannot be read: No such file or directory"),
        (("{small}", "--dask", "tcp://127.0.0.1:1"), "tcp://127.0.0.1:1"),
        (("{small}", "--dask", "tcp://x:1", "--workers", "2"), "--workers beside --dask"),
        (("{small}", "--out", "{small}"), "small.toml"),
        (("{small}", "--banks", "0"), "0 is not in the range x>=1"),
        (("{small}", "--json", "missing/x.json"), "its folder does not exist"),
    ],
)
def test_wrong_use_is_named(
    fullproof: Fullproof, small: Path, given: tuple[str, ...], message: str
) -> None:
    words = [word.replace("{small}", str(small)) for word in given]
    ended = fullproof("study", *words)
    assert ended.code == 2
    assert message in ended.err
    assert "Traceback" not in ended.err


def test_a_full_disk_is_told_before_the_first_bank(
    fullproof: Fullproof, small: Path, tmp_path: Path
) -> None:
    ended = fullproof("study", str(small), "--banks", "90000000", "--out", str(tmp_path / "out"))
    assert ended.code == 2
    assert "needs" in ended.err
    assert "is free" in ended.err
