"""What each exit code of `verify` stands for, and what is said beside it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import IO

import pytest

from harness.cli.main import main
from tests.journeys.command_line import Fullproof, environment, saboteur, zoo

CAUTION = "is no certificate of safety"


def test_the_reference_conforms(fullproof: Fullproof) -> None:
    ended = fullproof("verify", "ref")
    assert ended.code == 0
    assert "verdict        conforms\n" in ended.out
    assert "FAIL" not in ended.out.upper()
    assert ended.err == ""


def test_a_faulty_controller_does_not_conform_and_the_requirement_is_named(
    fullproof: Fullproof,
) -> None:
    ended = fullproof("verify", zoo("full-without-recheck"), "--select", "full/denied*", "--quiet")
    assert ended.code == 1
    assert "FULL.voltage (must): a full reset needs the voltage after the hold" in ended.out
    assert "verdict        does not conform\n" in ended.out


def test_a_finding_says_what_where_by_how_much_and_how_to_see_it_again(
    fullproof: Fullproof,
) -> None:
    ended = fullproof("verify", zoo("hold-one-minute-short"), "--select", "hold/sag-runs-on")
    assert ended.code == 1
    story = ended.out[ended.out.index("HOLD.sag-runs-on (must)") :]
    assert "1. hold/sag-runs-on at t = 68.5 s (sample 72)" in story
    assert "observed  absorption -> float" in story
    assert "expected  absorption until the hold timer shows 120 s" in story
    assert "margin    60 s" in story
    command = next(line for line in story.splitlines() if line.startswith("     again"))
    assert command.split(maxsplit=1)[1].startswith("fullproof replay 'exec:")
    assert command.endswith("harness.zoo hold-one-minute-short' hold/sag-runs-on")


def test_the_sum_comes_last_with_the_caution_under_it(fullproof: Fullproof) -> None:
    ended = fullproof("verify", "ref", "--select", "hold/*")
    last = ended.out.splitlines()[-3:]
    assert last[0] == "verdict        conforms, as far as it was tried"
    assert CAUTION in last[1]


def test_what_cannot_be_judged_ends_with_3(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "stages.py").write_text(
        "from harness.examples.python.controller import Controller\n"
        "class Stages(Controller):\n"
        "    name, features = 'stages-only', ['full_reset']\n"
        "    def step(self, *readings):\n"
        "        answer = super().step(*readings)\n"
        "        return {'stage': answer['stage'], 'full_reset': answer['full_reset']}\n"
    )
    ended = fullproof("verify", "py:stages.py:Stages", "--select", "SOC")
    assert ended.code == 3
    assert "not claimed" in ended.out
    assert "verdict        could not be judged" in ended.out


def test_a_controller_that_never_says_who_it_is_does_not_conform(fullproof: Fullproof) -> None:
    ended = fullproof("verify", saboteur("wrong_protocol"), "--quiet")
    assert ended.code == 1
    assert "LINK.greets (must)" in ended.out
    assert "1 fail, 82 unknown, of 83 requirements" in ended.out


def test_a_fault_of_our_own_ends_with_3_and_no_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(_: str) -> None:
        raise ZeroDivisionError("nobody thought of that")

    monkeypatch.setattr("harness.cli.main.import_module", broken)
    assert main(["verify"]) == 3
    told = capsys.readouterr().err
    assert "a fault of fullproof itself" in told
    assert "ZeroDivisionError: nobody thought of that" in told
    assert "FULLPROOF_TRACEBACK=1" in told
    assert "Traceback" not in told

    monkeypatch.setenv("FULLPROOF_TRACEBACK", "1")
    assert main(["verify"]) == 3
    assert "Traceback (most recent call last)" in capsys.readouterr().err


def test_without_a_name_the_example_in_c_is_compiled_and_judged(fullproof: Fullproof) -> None:
    ended = fullproof("verify", "--select", "entry/*", "--quiet")
    assert ended.code == 0
    assert "No controller was named, so this is the example in C, compiled with" in ended.out
    assert "written in C\n" in ended.out


@pytest.mark.parametrize("compiler", ["no-such-compiler", "false"])
def test_without_a_compiler_it_is_the_example_in_python(
    fullproof: Fullproof, compiler: str
) -> None:
    ended = fullproof("verify", "--select", "entry/*", "--quiet", CC=compiler)
    assert ended.code == 0
    told = " ".join(ended.out.split())
    assert "so this is the example in Python, because" in told
    assert compiler in told
    assert "written in Python\n" in ended.out


def test_every_line_but_names_and_commands_fits_80_columns(fullproof: Fullproof) -> None:
    ended = fullproof("verify", zoo("entry-dwell-doubled"), "--findings", "1")
    assert ended.code == 1
    long = [line for line in ended.out.splitlines() if len(line) > 80]
    assert all(line.startswith(("     again", "attached")) for line in long)
    assert [line for line in ended.out.splitlines() if line != line.rstrip()] == []


def test_a_wide_terminal_has_titles_in_a_column_of_their_own(fullproof: Fullproof) -> None:
    ended = fullproof("verify", "ref", "--select", "entry/*", COLUMNS="130")
    row = next(line for line in ended.out.splitlines() if "ENTRY.not-late" in line)
    assert "the hold starts as soon as the entry voltage has stood" in row


def test_without_a_terminal_there_are_no_colours_and_no_bar(fullproof: Fullproof) -> None:
    ended = fullproof("verify", zoo("entry-dwell-doubled"), "--select", "entry/*")
    assert "\x1b" not in ended.out
    assert ended.err == ""


def test_a_terminal_that_knows_only_ascii_gets_no_crash(fullproof: Fullproof) -> None:
    ended = fullproof(
        "verify", "ref", "--select", "entry/*", LANG="C", PYTHONUTF8="0", PYTHONCOERCECLOCALE="0"
    )
    assert ended.code == 0
    assert "conforms" in ended.out


def test_quiet_leaves_out_the_table_and_nothing_else(fullproof: Fullproof) -> None:
    arguments = ("verify", zoo("entry-dwell-doubled"), "--select", "entry/*")
    whole, quiet = fullproof(*arguments), fullproof(*arguments, "--quiet")
    assert whole.out.endswith(quiet.out)
    assert "outcome        requirement" in whole.out
    assert "outcome        requirement" not in quiet.out


def test_fail_fast_stops_and_says_so(fullproof: Fullproof) -> None:
    ended = fullproof("verify", zoo("entry-dwell-doubled"), "--fail-fast", "--quiet")
    assert ended.code == 1
    assert "stopped        at the first finding, as asked, after" in ended.out


@pytest.mark.parametrize("option", ["--json", "--junit"])
def test_a_reader_that_goes_away_is_no_verdict(option: str, tmp_path: Path) -> None:
    with piped(tmp_path, "verify", "ref", option, "-", "--quiet") as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert "Traceback" not in process.stderr.read()
        assert process.wait() == 141


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no device that is full")
@pytest.mark.parametrize("command", [("verify", "ref", "--quiet"), ("--help",)])
def test_a_full_disk_is_no_verdict(command: tuple[str, ...], tmp_path: Path) -> None:
    with Path("/dev/full").open("w") as full, piped(tmp_path, *command, stdout=full) as process:
        assert process.stderr is not None
        told = process.stderr.read()
        assert process.wait() == 3
    assert "No space left on device" in told
    assert "Traceback" not in told


def piped(
    folder: Path, *arguments: str, stdout: int | IO[str] = subprocess.PIPE
) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "harness.cli.main", *arguments],
        cwd=folder,
        env=environment(),
        stdout=stdout,
        stderr=subprocess.PIPE,
        text=True,
    )
