"""What a user sees before anything runs."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.journeys.command_line import Fullproof, environment


def test_help_names_every_command_and_the_exit_codes(fullproof: Fullproof) -> None:
    ended = fullproof("--help")
    assert ended.code == 0
    for word in (
        "verify",
        "replay",
        "simulate",
        "smoke",
        "vectors",
        "settings",
        "3 could not be judged",
    ):
        assert word in " ".join(ended.out.split())


def test_no_command_shows_the_same_help(fullproof: Fullproof) -> None:
    assert fullproof() == fullproof("--help")


def test_help_imports_nothing_slow() -> None:
    code = (
        "import sys; from harness.cli.main import main; main(['--help']);"
        "print(sorted({'numpy', 'rich', 'numba', 'hypothesis', 'jsonschema', 'attrs', 'cattrs'}"
        " & set(sys.modules)), file=sys.stderr)"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], env=environment(), capture_output=True, text=True, check=True
    )
    assert ended.stderr == "[]\n"


@pytest.mark.parametrize(
    "command",
    [
        ("verify",),
        ("replay",),
        ("smoke",),
        ("vectors", "list"),
        ("vectors", "show"),
        ("vectors", "check"),
        ("vectors", "render"),
        ("simulate",),
        ("settings", "show"),
        ("settings", "check"),
    ],
)
def test_every_command_has_help(fullproof: Fullproof, command: tuple[str, ...]) -> None:
    ended = fullproof(*command, "--help")
    assert ended.code == 0
    assert ended.out.startswith(f"Usage: fullproof {' '.join(command)}")
    assert ended.err == ""


def test_version_is_told(fullproof: Fullproof) -> None:
    ended = fullproof("--version")
    assert ended.code == 0
    assert ended.out.startswith("fullproof ")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("verifi",), "fullproof: there is no command 'verifi'; did you mean 'verify'?"),
        (("--colour",), "No such option '--colour'"),
        (("verify", "--colour"), "fullproof verify --help shows how it is used."),
        (("replay", "ref"), "Missing argument 'TRACE'"),
        (("smoke",), "Missing argument 'CONTROLLER'"),
        (("vectors", "lost"), "No such command 'lost'"),
    ],
)
def test_wrong_use_is_told(fullproof: Fullproof, arguments: tuple[str, ...], message: str) -> None:
    ended = fullproof(*arguments)
    assert ended.code == 2
    assert message in ended.err
    assert ended.out == ""
