"""The one way to name a controller, and what is said when there is none of that name."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from harness.attach import KINDS, AttachError, LinkFault, attach


@pytest.mark.parametrize(
    ("spec", "words"),
    [
        ("", ["there is no controller ''", "ref, ref:RULE or"]),
        ("reff", ["there is no controller 'reff'", "did you mean 'ref'?"]),
        ("exe:./hut", ["did you mean 'exec'?"]),
        ("./hut --fast", ["did you mean exec:./hut --fast?"]),
        ("hut.py:Hut", ["did you mean py:hut.py:Hut?"]),
        ("ref:first", ["there is no reset rule 'first'", "first_touch"]),
        ("exec:", ["names no program", "exec:./program arguments"]),
        ("exec:./hut 'one", ["cannot read the command", "No closing quotation"]),
        ("exec:./no-such-hut", ["cannot run ./no-such-hut", "is it built?"]),
        ("exec:no-such-hut", ["not on the PATH", "./no-such-hut"]),
        ("exec:/usr", ["it is a folder"]),
        ("py:", ["names no class", "py:module:Class"]),
        ("py:json", ["names no class"]),
        ("py:no_such_module:Hut", ["cannot import no_such_module", "No module named"]),
        ("py:no/such.py:Hut", ["there is no file no/such.py"]),
        ("py:json:Hut", ["json has no class Hut", "JSONDecoder"]),
    ],
)
def test_what_cannot_be_attached(spec: str, words: list[str]) -> None:
    with pytest.raises(AttachError) as caught:
        attach(spec)
    for word in words:
        assert word in str(caught.value)
    assert caught.value.exit_code == 2


def test_a_file_that_may_not_be_run(tmp_path: Path) -> None:
    program = tmp_path / "hut"
    program.write_text("#!/bin/sh\n")
    with pytest.raises(AttachError, match=r"not executable; try chmod \+x"):
        attach(f"exec:{program}")


@pytest.mark.parametrize(
    ("text", "hint"),
    [(b"\x00\x01", "neither a program"), (b"#!/no/such/shell\n", "interpreter in its first line")],
)
def test_a_file_that_cannot_be_run(tmp_path: Path, text: bytes, hint: str) -> None:
    program = tmp_path / "hut"
    program.write_bytes(text)
    program.chmod(0o755)
    with attach(f"exec:{program}") as attachment, pytest.raises(AttachError, match=hint):
        attachment.hello()


@pytest.mark.parametrize("limit_s", [0.0, -1.0, float("nan"), float("inf")])
def test_a_limit_that_is_none(limit_s: float) -> None:
    with pytest.raises(AttachError, match="must be greater than 0"):
        attach("ref", limit_s=limit_s)


def test_a_module_that_cannot_be_imported_is_told_with_its_line(tmp_path: Path) -> None:
    module = tmp_path / "broken_hut.py"
    module.write_text("entry_v = 55.8\nraise OSError('no meter')\n")
    with pytest.raises(AttachError) as caught:
        attach(f"py:{module}:Hut")
    assert "OSError: no meter" in str(caught.value)
    assert f"see {module}:2: raise OSError" in str(caught.value)


def test_every_kind_opens_and_keeps_its_name(tmp_path: Path) -> None:
    module = tmp_path / "named_hut.py"
    module.write_text("class Hut: pass\n")
    specs = ["ref", "ref:first_touch", f"py:{module}:Hut", f"exec:{sys.executable} -c pass"]
    # A library and a model unit are opened where there is one: tests/attach.
    assert {spec.split(":")[0] for spec in specs} == set(KINDS) - {"lib", "fmu"}
    for spec in specs:
        with attach(spec, limit_s=2.5) as attachment:
            assert attachment.spec == spec
            assert attachment.limit_s == 2.5


def test_arguments_are_quoted_as_in_a_shell(tmp_path: Path) -> None:
    folder = tmp_path / "a folder"
    folder.mkdir()
    told = folder / "told"
    program = folder / "hut.sh"
    program.write_text('#!/bin/sh\nprintf "%s|" "$@" > "$1"\n')
    program.chmod(0o755)
    attachment = attach(f"exec:'{program}' '{told}' 'two words' three")
    with attachment, pytest.raises(LinkFault, match="ended without an answer"):
        attachment.hello()
    assert told.read_text() == f"{told}|two words|three|"
