"""A starter project attaches as it is written, and fails where something is left to write."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from harness.cli.main import main
from tests.journeys.command_line import ROOT, environment

MAKE = shutil.which("make") if shutil.which("cc") else None
needs_make = pytest.mark.skipif(MAKE is None, reason="there is no make, or no C compiler cc")
FILES = {
    "c": {"controller.c", "fullproof.h"},
    "python": {"controller.py"},
}
COMMON = {
    "README.md",
    "Makefile",
    ".gitignore",
    ".gitlab-ci.yml",
    ".github/workflows/fullproof.yml",
}


def made(folder: Path, target: str) -> subprocess.CompletedProcess[str]:
    """What `make` does in a folder; the command is the one of this tree."""
    command = f"{sys.executable} -m harness.cli.main"
    return subprocess.run(
        [str(MAKE), f"FULLPROOF={command}", target],
        cwd=folder,
        env=environment(),
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("language", ["c", "python"])
def test_every_file_is_written_and_told(
    language: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "deep" / "hut"
    assert main(["new", language, str(folder)]) == 0
    there = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
    assert there == COMMON | FILES[language]
    said = capsys.readouterr().out
    assert "Next: cd" in said
    assert all(name in said.replace("\n", "") for name in FILES[language])


@needs_make
@pytest.mark.parametrize("language", ["c", "python"])
def test_smoke_passes_and_verify_says_what_is_missing(language: str, tmp_path: Path) -> None:
    folder = tmp_path / "the hut"
    assert main(["new", language, str(folder)]) == 0
    smoke = made(folder, "smoke")
    assert smoke.returncode == 0, smoke.stderr
    assert "9 of 10 steps were tried, none failed" in smoke.stdout
    assert "warning" not in smoke.stderr
    verify = made(folder, "verify")
    assert verify.returncode != 0
    assert "does not conform" in verify.stdout
    assert "broken         HOLD.ends (" in verify.stdout
    assert "ENTRY.held-long-enough" not in verify.stdout[verify.stdout.index("broken ") :]


@needs_make
def test_check_leaves_a_report_for_the_build_server(tmp_path: Path) -> None:
    folder = tmp_path / "pier"
    assert main(["new", "c", str(folder)]) == 0
    check = made(folder, "check")
    assert check.returncode != 0
    assert "attached       lib:./libsanitized.so" in check.stdout
    assert (folder / "fullproof.xml").read_text().startswith("<?xml")
    assert made(folder, "clean").returncode == 0
    assert not (folder / "libcontroller.so").exists()


def test_the_header_is_the_one_of_the_harness(tmp_path: Path) -> None:
    assert main(["new", "c", str(tmp_path / "hut")]) == 0
    header = ROOT / "harness" / "attach" / "library" / "fullproof.h"
    assert (tmp_path / "hut" / "fullproof.h").read_text() == header.read_text()


def test_a_folder_that_is_empty_will_do(tmp_path: Path) -> None:
    assert main(["new", "python", str(tmp_path)]) == 0
    assert (tmp_path / "controller.py").is_file()


def test_a_folder_with_something_in_it_is_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "mine.c").write_text("int mine;")
    assert main(["new", "c", str(tmp_path)]) == 2
    assert "the folder is not empty: it has mine.c" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["mine.c"]


def test_a_file_is_no_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "mine.c").write_text("int mine;")
    assert main(["new", "c", str(tmp_path / "mine.c")]) == 2
    assert "it is a file; name a folder that is new or empty" in capsys.readouterr().err
    assert main(["new", "c", str(tmp_path / "mine.c" / "deeper")]) == 2
    assert "cannot be written: Not a directory" in capsys.readouterr().err


def test_a_language_that_nobody_wrote(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", "cobol", str(tmp_path / "hut")]) == 2
    assert "'cobol' is not one of 'c', 'python'" in capsys.readouterr().err
    assert not (tmp_path / "hut").exists()
