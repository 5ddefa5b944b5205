"""`fullproof zoo` as a user has it: what is told, what is written, and how it ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import orjson
import pytest

from harness.cli import exits
from harness.cli.main import main
from tests.journeys.command_line import ROOT, Ended, environment

Zoo = Callable[..., Ended]
EASY = "shift-entry-v-*"
LIMIT_S = 60.0


@pytest.fixture
def zoo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Zoo:
    """Runs the command line in this process, where the vectors have been read already."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")

    def call(*arguments: str | Path) -> Ended:
        code = main(["zoo", *map(str, arguments)])
        said = capsys.readouterr()
        assert "Traceback" not in said.out + said.err
        assert "a fault of fullproof itself" not in said.err
        return Ended(code, said.out, said.err)

    return call


def lines_with(text: str, word: str) -> list[str]:
    return [line for line in text.splitlines() if word in line]


def test_all_found_is_success(zoo: Zoo) -> None:
    ended = zoo(EASY, "--vectors-only")
    assert ended.code == exits.CONFORMS
    assert "The vectors find 4 of 4 faulty controllers" in ended.out
    assert lines_with(ended.out, "shift ")[0].split()[-5:] == ["4", "4", "4", "0", "0"]
    assert "The hunt" not in ended.out
    assert "Not found" not in ended.out


def test_the_hunt_is_told_and_the_sum_comes_last(zoo: Zoo) -> None:
    ended = zoo(EASY, "--seeds", "2", "--traces", "150")
    assert ended.code == exits.CONFORMS
    assert "The hunt (2 seeds, 150 traces each) finds all of 8" in " ".join(ended.out.split())
    told = " ".join(ended.out.split())
    assert "and names a requirement that is broken in" in told
    assert told.endswith("of those.")


def test_a_hunt_that_is_too_short_is_told(zoo: Zoo) -> None:
    ended = zoo("part-watched-or-emptied", "--seeds", "1", "--traces", "1")
    assert "Not found by every seed within 1 traces" in ended.out
    assert "in 0 of 1 seeds" in ended.out


def test_what_can_never_be_found_is_no_failure(zoo: Zoo) -> None:
    ended = zoo("drop-decide-happened-*", "--vectors-only")
    assert ended.code == exits.CONFORMS
    assert "2 more can never be found: 2 are equivalent" in ended.out


def test_one_that_is_missed_is_a_failure(zoo: Zoo, monkeypatch: pytest.MonkeyPatch) -> None:
    from harness.cases import shipped
    from harness.zoo import whole

    some = tuple(each.case for each in shipped() if each.id == "entry/too-short")
    monkeypatch.setattr(whole, "_cases", lambda: some)
    whole._right.cache_clear()
    try:
        ended = zoo("sink-float", "--vectors-only", "--workers", "1")
    finally:
        monkeypatch.undo()
        whole._right.cache_clear()
    assert ended.code == exits.DOES_NOT_CONFORM
    assert "Not found by any vector\n  sink-float: never leaves float" in ended.out


def test_the_operators_pick(zoo: Zoo) -> None:
    ended = zoo("*bulk*", "--operator", "sink", "--operator", "boundary", "--vectors-only")
    assert [line.split()[0] for line in lines_with(ended.out, "Aichernig")] == ["boundary", "sink"]


def test_files_are_written(zoo: Zoo, tmp_path: Path) -> None:
    ended = zoo(EASY, "--vectors-only", "--json", "zoo.json", "--html", "zoo.html")
    assert ended.code == exits.CONFORMS
    read = orjson.loads((tmp_path / "zoo.json").read_text(encoding="utf-8"))
    assert len(read["faults"]) == 4
    assert {each["operator"] for each in read["faults"]} == {"shift"}
    assert read["exit_code"] == exits.CONFORMS
    assert "shift-entry-v-5mv-lower" in (tmp_path / "zoo.html").read_text(encoding="utf-8")


def test_a_result_on_standard_output_stands_there_alone(zoo: Zoo) -> None:
    ended = zoo(EASY, "--vectors-only", "--json", "-")
    assert orjson.loads(ended.out)["complete"] is True
    assert "The vectors find 4 of 4" in ended.err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("shift-entry-v-5mv-lowr",), "did you mean 'shift-entry-v-5mv-lower'?"),
        (("nothing-like-it",), "python -m harness.zoo --list names them all"),
        (("sink-*", "--operator", "shift"), "no faulty controller of shift fits 'sink-*'"),
        (("--operator", "shfit"), "did you mean 'shift'?"),
        (("--seeds", "0"), "--seeds"),
        (("--traces", "many"), "--traces"),
        (("--json", "-", "--html", "-"), "two results"),
        (("--json", "nowhere/zoo.json"), "its folder does not exist"),
        (("one", "two"), "unexpected extra argument"),
    ],
)
def test_wrong_use_is_explained(zoo: Zoo, arguments: tuple[str, ...], says: str) -> None:
    ended = zoo(*arguments)
    assert ended.code == exits.WRONG_USE
    assert says in ended.err
    assert ended.out == ""


def test_a_process_of_its_own_says_the_same() -> None:
    ended = subprocess.run(
        [sys.executable, "-m", "harness.cli.main", "zoo", EASY, "--vectors-only"],
        cwd=ROOT,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=LIMIT_S,
        check=False,
    )
    assert ended.returncode == exits.CONFORMS
    assert "The vectors find 4 of 4 faulty controllers" in ended.stdout
    assert ended.stderr == ""


def has_workers(process: int) -> bool:
    """Whether a command has a child; where none can tell, it is taken to have one."""
    lists = list(Path(f"/proc/{process}/task").glob("*/children"))
    if not lists:
        time.sleep(0.4)
        return True
    return any(one.read_text() for one in lists)


def test_an_interruption_keeps_what_was_done(tmp_path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "harness.cli.main", "zoo", "shift-*", "--json", "cut.json"],
        cwd=tmp_path,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        # A child may also be what a library asks while it is loaded; a worker stays.
        stayed = 0
        for _ in range(round(LIMIT_S * 10)):
            stayed = stayed + 1 if has_workers(process.pid) else 0
            if stayed == 30:
                break
            time.sleep(0.1)
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=LIMIT_S)
    assert process.returncode == exits.INTERRUPTED, err
    assert "Traceback" not in err
    assert "Interrupted: this is what was done until then." in out
    assert orjson.loads((tmp_path / "cut.json").read_text(encoding="utf-8"))["complete"] is False
