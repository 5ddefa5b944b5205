"""What is wrong is told with its place and with what would be right, and ends with 2."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.journeys.command_line import Fullproof

ROWS = "t,v,i\n0,54.3,2.8\n1,54.3,2.8\n"


def replay(fullproof: Fullproof, tmp_path: Path, content: bytes | str) -> tuple[int, str, str]:
    path = tmp_path / "trace.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    ended = fullproof("replay", "ref", "trace.csv")
    return ended.code, ended.out, ended.err


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "trace.csv: the file is empty"),
        ("t,v,i\n", "trace.csv:2: there is a header and nothing else"),
        ("t,v\n0,54.3\n", "trace.csv:1: the column i is missing"),
        (ROWS + "2,high,2.8\n", "trace.csv:4: column 2 (v): there is 'high'"),
        (ROWS + "2,54.3\n", "trace.csv:4: column 3 (i): there are 2 cells"),
        (ROWS + "2;54.3;2.8\n", "trace.csv:4: the separator here is ;, in the header it is ,"),
        (b"t,v,i\n0,54.3,\xff\n", "trace.csv:2: byte 8: byte 0xff is not UTF-8"),
        ("t,v,i\n0,54.3,2.8\n".encode("utf-16"), "trace.csv:1: the text is UTF-16"),
        ('{"columns": ["t"', "trace.csv:1: character 17: is no JSON"),
        ('{"columns": ["t", "v", "i"], "rows": [[0, "x", 1]]}', "rows[0][1] (v): there is 'x'"),
    ],
)
def test_a_trace_that_cannot_be_used(
    fullproof: Fullproof, tmp_path: Path, content: bytes | str, message: str
) -> None:
    code, out, err = replay(fullproof, tmp_path, content)
    assert code == 2
    assert message in err
    assert out == ""


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbf" + ROWS.encode(),
        ROWS.replace("\n", "\r\n"),
        ROWS.replace(",", ";"),
        ROWS + "2,,2.8\n3,nan,2.8\n",
        ROWS + "0.5,54.3,2.8\n",
        '{"columns": ["t", "v", "i"], "rows": [[0, 54.3, 2.8], [1, null, 2.8]]}',
    ],
    ids=["byte-order mark", "CRLF", "semicolons", "missing readings", "time back", "JSON"],
)
def test_a_trace_that_looks_odd_and_is_fine(
    fullproof: Fullproof, tmp_path: Path, content: bytes | str
) -> None:
    code, out, _ = replay(fullproof, tmp_path, content)
    assert code == 0
    assert "none broken" in out


@pytest.mark.parametrize(
    ("trace", "message"),
    [
        ("lost.csv", "lost.csv: there is no such file; seen from"),
        (".", "is a folder; name one trace in it"),
        ("hold/sag-run-on", "no file and no vector 'hold/sag-run-on'; did you mean 'hold/sag-runs"),
        ("nothing-like-it", "fullproof vectors list names the vectors"),
    ],
)
def test_a_trace_that_is_not_there(fullproof: Fullproof, trace: str, message: str) -> None:
    ended = fullproof("replay", "ref", trace)
    assert ended.code == 2
    assert message in ended.err


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("hold_s = 360 s\n", "pack.toml:1: character 14: is no TOML"),
        ("holds = 360\n", "there is no setting 'holds'; did you mean 'hold_s'?"),
        ("hold_s = '360'\n", "hold_s is '360', of type str; it must be a finite number"),
        ("hold_s = nan\n", "hold_s is nan"),
        ("full_v = 57.0\n", "full_v 57.0 and entry_v 55.8 contradict each other; it must be"),
        ("on_sag = 'stop'\n", "on_sag is 'stop'; it must be one of run, pause, restart"),
        ("cells = 0\n", "cells is 0; it must be a whole number"),
        ("hold_s = 'none'\n", "hold_s is 'none'"),
        ('{"hold_s": 360', "pack.toml:1: character 15: is no JSON"),
        ('{"hold_s": 360, "hold_s": 720}', "hold_s is there twice"),
        ("[pack]\nhold_s = 360\n", "there is no setting 'pack'"),
        ("", "pack.toml: the file is empty"),
        (b"on_sag = '\xff'\n", "pack.toml:1: is not UTF-8"),
    ],
)
def test_settings_that_cannot_be_used(
    fullproof: Fullproof, tmp_path: Path, content: bytes | str, message: str
) -> None:
    path = tmp_path / "pack.toml"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    ended = fullproof("settings", "check", "pack.toml")
    assert ended.code == 2
    assert message in ended.err
    assert "pack.toml" in ended.err
    assert ended.out == ""


def test_json_settings_that_are_a_list(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "pack.json").write_text("[1, 2]")
    ended = fullproof("settings", "check", "pack.json")
    assert ended.code == 2
    assert "pack.json: there is a list; it must be an object of settings" in ended.err


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ("holds=360", "there is no setting 'holds'; did you mean 'hold_s'?"),
        ("hold_s", "write it as NAME=VALUE, such as hold_s=360"),
        ("hold_s=", "write it as NAME=VALUE, such as hold_s=360"),
        ("hold_s=long", "hold_s is 'long', of type str"),
        ("entry_v=60", "entry_v 60.0 and absorption_v 56.0 contradict each other"),
    ],
)
def test_a_change_that_cannot_be_made(fullproof: Fullproof, change: str, message: str) -> None:
    ended = fullproof("settings", "show", "--set", change)
    assert ended.code == 2
    assert message in ended.err


@pytest.mark.parametrize(
    ("spec", "message"),
    [
        ("reff", "there is no controller 'reff'; did you mean 'ref'?"),
        ("./controller", "did you mean exec:./controller?"),
        ("controller.py:Pack", "did you mean py:controller.py:Pack?"),
        ("ref:taper_only", "there is no reset rule 'taper_only'"),
        ("exec:./no-such-program", "there is no such file, seen from"),
        ("exec:", "names no program; write exec:./program arguments"),
        ("py:json:Pack", "json has no class Pack"),
        ("py:no_such_module:Pack", "cannot import no_such_module"),
        ("py:lost.py:Pack", "there is no file lost.py"),
        ("", "there is no controller ''"),
    ],
)
def test_a_controller_that_is_not_there(fullproof: Fullproof, spec: str, message: str) -> None:
    ended = fullproof("verify", spec)
    assert ended.code == 2
    assert message in ended.err
    assert ended.out == ""


@pytest.mark.parametrize("command", [("smoke",), ("replay", "hold/sag-runs-on")])
def test_every_command_tells_it_alike(fullproof: Fullproof, command: tuple[str, ...]) -> None:
    ended = fullproof(command[0], "exec:./hut", *command[1:])
    assert ended == fullproof("verify", "exec:./hut")
    assert ended.code == 2


@pytest.mark.parametrize("value", ["0", "-1", "nan", "inf", "soon"])
def test_a_limit_that_is_none(fullproof: Fullproof, value: str) -> None:
    ended = fullproof("verify", "ref", "--limit-s", value)
    assert ended.code == 2
    assert "Invalid value for '--limit-s'" in ended.err


@pytest.mark.parametrize("value", ["-0.1", "1.5", "nan"])
def test_a_starting_count_that_is_no_fraction(fullproof: Fullproof, value: str) -> None:
    ended = fullproof("replay", "ref", "hold/sag-runs-on", "--soc", value)
    assert ended.code == 2
    assert "Invalid value for '--soc'" in ended.err
