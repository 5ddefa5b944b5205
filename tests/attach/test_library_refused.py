"""A file that is no library for here is refused before any case, with what would be right."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from harness.attach.base import AttachError
from harness.attach.library.layout import HEADER, layout_of
from harness.attach.registry import attach
from harness.cli.main import main
from tests.attach.conftest import Attached
from tests.attach.planted import COMPILER, compiled, needs_compiler, small

SETTINGS_BYTES = layout_of(8).settings.itemsize
linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="it reads ELF files")


def refusal(path: Path) -> str:
    """Why this file cannot be attached."""
    with pytest.raises(AttachError) as caught:
        attach(f"lib:{path}").hello()
    return str(caught.value)


def changed(path: Path, **bytes_at: int) -> Path:
    """The file with other bytes at these places."""
    content = bytearray(path.read_bytes())
    for place, value in bytes_at.items():
        content[int(place.removeprefix("at_"))] = value
    path.write_bytes(content)
    return path


def test_no_library_is_named() -> None:
    with pytest.raises(AttachError, match="names no library; write lib:"):
        attach("lib:")


def test_it_is_not_there(tmp_path: Path) -> None:
    assert "there is no such library; seen from" in refusal(tmp_path / "libnowhere.so")


def test_it_is_a_folder(tmp_path: Path) -> None:
    assert "it is a folder; name the library in it" in refusal(tmp_path)


@linux
@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "it is empty"),
        (b"#!/bin/sh\n", "it is no library: it begins with b'#!/bin/s'"),
        (b"!<arch>\n", "it is a static library"),
        (b"\x7fELF\x02\x01\x01", "its 7 bytes end too early"),
        (b"\x7fELF" + bytes(200), "its 204 bytes end too early or make no sense"),
    ],
)
def test_it_is_no_library(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "libcontroller.so"
    path.write_bytes(content)
    assert said in refusal(path)


@linux
@needs_compiler
@pytest.mark.parametrize(
    ("places", "said"),
    [
        ({"at_18": 40, "at_19": 0}, "it is built for 32-bit ARM (64 bits), and this machine is"),
        ({"at_18": 0xF3, "at_19": 0}, "it is built for RISC-V (64 bits)"),
        ({"at_4": 1}, "(32 bits), and this machine is"),
        ({"at_16": 1}, "it is an object file, not linked yet; link it with cc -shared -fPIC"),
        ({"at_16": 2}, "it is a program, not a library"),
        ({"at_16": 4}, "an ELF file of type 4"),
    ],
)
def test_it_is_for_something_else(tmp_path: Path, places: dict[str, int], said: str) -> None:
    assert said in refusal(changed(compiled(tmp_path, small()), **places))


@linux
@needs_compiler
def test_it_is_cut_off(tmp_path: Path) -> None:
    library = compiled(tmp_path, small())
    library.write_bytes(library.read_bytes()[:4000])
    assert "its 4000 bytes end too early" in refusal(library)


@needs_compiler
def test_a_program_is_no_library(tmp_path: Path) -> None:
    program = tmp_path / "program"
    source = tmp_path / "program.c"
    source.write_text("int main(void) { return 0; }")
    subprocess.run([str(COMPILER), "-pie", "-fPIE", "-o", str(program), str(source)], check=True)
    assert "it is a program" in refusal(program)


@needs_compiler
@pytest.mark.parametrize(
    ("source", "said"),
    [
        ("int nothing;", "the library has no fullproof_layout, fullproof_describe, "),
        ("int nothing;", "include fullproof.h"),
        (
            small().replace("#define FULLPROOF_EXPORTS", ""),
            "the library has no fullproof_layout, fullproof_run; define FULLPROOF_EXPORTS",
        ),
        (
            small() + "\nint missing(void);\nint calls(void) { return missing(); }",
            "undefined symbol: missing; link it with whatever has that function",
        ),
    ],
)
def test_a_function_is_missing(tmp_path: Path, source: str, said: str) -> None:
    assert said in refusal(compiled(tmp_path, source))


@needs_compiler
@pytest.mark.parametrize(
    ("line", "instead", "said"),
    [
        ("#define FULLPROOF_LAYOUT 2u", "#define FULLPROOF_LAYOUT 3u", "built with layout 3 of"),
        (
            "uint32_t valid;            /* FULLPROOF_VALID_",
            "uint32_t valid, more;      /* FULLPROOF_VALID_",
            "fullproof_sample has 56 bytes in the",
        ),
        ("uint8_t reserved[2];", "uint8_t reserved[12];", "fullproof_output has 40 bytes"),
        ("fullproof_real hold_s;", "", f"fullproof_settings has {SETTINGS_BYTES - 8} bytes"),
        ("typedef double fullproof_real;", "typedef long double fullproof_real;", "16 bytes"),
        ("0x46505246u", "7u", "does not come from fullproof.h: it begins with 0x7"),
    ],
)
def test_another_header(tmp_path: Path, line: str, instead: str, said: str) -> None:
    header = HEADER.read_text()
    assert header.count(line) == 1
    source = small().replace('#include "fullproof.h"', header.replace(line, instead))
    assert said in refusal(compiled(tmp_path, source))


@needs_compiler
@pytest.mark.parametrize("variable", ["MEMORY_MB", "OUTPUT_MB", "FILE_MB", "CLOCK_MS"])
@pytest.mark.parametrize("text", ["-1", "", "1.5", "much", "99999999999999999999x"])
def test_a_setting_that_is_no_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, variable: str, text: str
) -> None:
    monkeypatch.setenv(f"FULLPROOF_WORKER_{variable}", text)
    library = compiled(tmp_path, small())
    assert f"FULLPROOF_WORKER_{variable} is {text!r}; it must be a whole number" in refusal(library)


@needs_compiler
def test_no_limit_at_all(attached: Attached, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("MEMORY_MB", "OUTPUT_MB", "FILE_MB"):
        monkeypatch.setenv(f"FULLPROOF_WORKER_{name}", "none")
    assert attached(small()).hello().name == "small"


@pytest.mark.parametrize("command", ["smoke", "verify"])
def test_the_commands_end_with_2(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([command, f"lib:{tmp_path}/libnowhere.so"]) == 2
    assert "there is no such library" in capsys.readouterr().err


@needs_compiler
def test_a_library_without_functions_ends_with_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    library = compiled(tmp_path, "int nothing;")
    assert main(["verify", f"lib:{library}"]) == 2
    assert "the library has no fullproof_layout" in capsys.readouterr().err
