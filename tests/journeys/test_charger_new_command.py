"""A starter project for a charger attaches as it is written, and fails where something is left."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.cli.main import main
from tests.journeys.command_line import ROOT
from tests.journeys.test_new_command import COMMON, made, needs_make

FILES = {"c": {"charger.c", "fullproof.h"}, "python": {"charger.py"}}


@pytest.mark.parametrize("language", ["c", "python"])
def test_every_file_is_written_and_told(
    language: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "hut"
    assert main(["new", language, str(folder), "--role", "charger"]) == 0
    there = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
    assert there == COMMON | FILES[language]
    said = capsys.readouterr().out
    first = "make smoke" if language == "c" else "smoke --role charger py:charger.py:Charger"
    assert first in said
    assert "controller" not in (folder / "README.md").read_text()
    assert "controller" not in (folder / "Makefile").read_text()


@needs_make
@pytest.mark.parametrize("language", ["c", "python"])
def test_smoke_passes_and_verify_says_what_is_missing(language: str, tmp_path: Path) -> None:
    folder = tmp_path / "the pier"
    assert main(["new", language, str(folder), "--role", "charger"]) == 0
    smoke = made(folder, "smoke")
    assert smoke.returncode == 0, smoke.stderr
    assert "9 of 9 steps were tried, none failed" in smoke.stdout
    assert "warning" not in smoke.stderr
    verify = made(folder, "verify")
    assert verify.returncode != 0
    broken = verify.stdout[verify.stdout.index("\nbroken ") :].partition("\nverdict")[0]
    for name in ("SENSE.reaches", "STALE.in-order", "CLOCK.break"):
        assert name in broken
    # What it gives is never too much, not even while it is half written.
    for name in ("CEILING", "FOLLOW", "PACKS", "RECOVER", "DOUBT", "RESTART", "LINK"):
        assert name not in broken


def test_the_header_is_the_one_of_the_harness(tmp_path: Path) -> None:
    assert main(["new", "c", str(tmp_path / "hut"), "--role", "charger"]) == 0
    header = ROOT / "harness" / "attach" / "library" / "fullproof.h"
    assert (tmp_path / "hut" / "fullproof.h").read_text() == header.read_text()
