"""Every bad input ends with its exit code, says exactly what it must, and leaves nothing behind."""

from __future__ import annotations

import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from harness.cli.main import main
from tests.attach.planted import COMPILER
from tests.errors.bad_input import BadInput, bad_inputs, contents, fits, general
from tests.errors.made_files import make
from tests.journeys.command_line import environment

ALL = bad_inputs()
# A path differs in length from place to place, and would be wrapped elsewhere.
WIDE = "200"


def refuse_vague(bad: BadInput, err: str, out: str) -> None:
    """What holds of every message: no traceback, and it says where and what would be right."""
    assert "Traceback" not in err + out
    assert "a fault of fullproof itself" not in err
    assert bad.where in err + out
    assert bad.right in err + out
    assert fits(err, bad.message), f"{err!r} is not {bad.message!r}"
    assert fits(out, bad.out), f"{out!r} is not {bad.out!r}"


@pytest.mark.parametrize("bad", ALL, ids=[f"{bad.subject}: {bad.name}" for bad in ALL])
def test_a_bad_input_is_told(
    bad: BadInput,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    if bad.needs:
        pytest.importorskip(bad.needs)
    if bad.build and COMPILER is None:
        pytest.skip("there is no C compiler cc")
    bad.lay_out(tmp_path, make)
    before = contents(tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", list(sys.path))
    monkeypatch.setenv("COLUMNS", WIDE)
    capfd.readouterr()
    code = main(shlex.split(bad.command))
    out, err = capfd.readouterr()
    refuse_vague(bad, general(err, tmp_path), general(out, tmp_path))
    assert code == bad.exit
    assert contents(tmp_path) == before


@pytest.mark.parametrize(
    "bad", [bad for bad in ALL if bad.real], ids=[bad.name for bad in ALL if bad.real]
)
def test_the_command_itself_tells_it_alike(bad: BadInput, tmp_path: Path) -> None:
    bad.lay_out(tmp_path, make)
    ended = subprocess.run(
        [sys.executable, "-m", "harness.cli.main", *shlex.split(bad.command)],
        cwd=tmp_path,
        env=environment(COLUMNS=WIDE),
        capture_output=True,
        text=True,
        encoding="utf-8",
        stdin=subprocess.DEVNULL,
        check=False,
    )
    refuse_vague(bad, general(ended.stderr, tmp_path), general(ended.stdout, tmp_path))
    assert ended.returncode == bad.exit


def test_there_are_many_and_each_is_another() -> None:
    assert len(ALL) >= 80
    assert len({(bad.subject, bad.name) for bad in ALL}) == len(ALL)
    assert len({(bad.command, str(bad.files), str(bad.executable), str(bad.binary), str(bad.made),
                 str(bad.build), str(bad.links)) for bad in ALL}) == len(ALL)  # fmt: skip
    assert {bad.exit for bad in ALL} >= {1, 2}


def test_every_row_says_where_and_what_would_be_right() -> None:
    vague = [bad.name for bad in ALL if not bad.where.strip() or not bad.right.strip()]
    assert vague == []
