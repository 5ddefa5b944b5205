"""The header, its mirror in Python and what the worker calls are one thing told three times."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from ctrl.settings import ON_SAG_WORDS, ON_UNCONFIRMED_WORDS, SETTING_NAMES, Settings
from ctrl.vocabulary import Stage
from harness.attach.library import layout as layouts
from harness.attach.library.declarations import ABI_FILE, abi_module
from harness.attach.library.layout import HEADER, layout_of, settings_mapping, settings_record
from harness.run import FEATURES
from tests.attach.planted import COMPILER, needs_compiler

DEFINED = re.compile(r"#define FULLPROOF_(\w+) (0x[0-9A-F]+|\d+)u")


def defined(prefix: str) -> dict[str, int]:
    """The constants of the header that begin like this, by the rest of their names."""
    found = {name: int(value, 0) for name, value in DEFINED.findall(HEADER.read_text())}
    return {
        name.removeprefix(prefix).lower(): value
        for name, value in found.items()
        if name.startswith(prefix) and not name.endswith("_ALL")
    }


def test_every_name_has_its_bit() -> None:
    assert defined("CLAIMS_") == layouts.FEATURE_BITS
    assert list(layouts.FEATURE_BITS) == list(FEATURES)
    readings = {"time": 1} | {k: v for k, v in layouts.VALID.items() if k != "t"}
    assert defined("VALID_") == readings
    assert defined("HAS_") == {name: 1 << k for k, name in enumerate(layouts.MAY_BE_NONE)}
    given = ("soc", "full_reset", "voltage_request", "current_request")
    assert defined("GIVES_") == {name: 1 << k for k, name in enumerate(given)}
    assert defined("LAYOUT") == {"": layouts.LAYOUT}


def test_every_constant_has_one_meaning() -> None:
    """An enumerator and a macro of one name would be two values, and no compiler would mind."""
    text = HEADER.read_text()
    names = re.findall(r"#define (FULLPROOF_\w+) ", text) + re.findall(r"(FULLPROOF_\w+) = ", text)
    once = {"FULLPROOF_API"}
    assert sorted(set(names) - once) == sorted(name for name in names if name not in once)


@pytest.mark.parametrize(
    ("prefix", "words"),
    [
        ("", [stage.word for stage in Stage]),
        ("SAG_", ON_SAG_WORDS),
        ("UNCONFIRMED_", ON_UNCONFIRMED_WORDS),
    ],
)
def test_every_word_has_its_number(prefix: str, words: list[str]) -> None:
    for number, word in enumerate(words):
        assert f"FULLPROOF_{prefix}{word.upper()} = {number}" in HEADER.read_text()


@needs_compiler
@pytest.mark.parametrize("real_bytes", [4, 8])
def test_every_member_lies_where_python_looks(tmp_path: Path, real_bytes: int) -> None:
    layout = layout_of(real_bytes)
    kinds = {"sample": layout.sample, "output": layout.output, "settings": layout.settings}
    lines, expected = [], []
    for kind, dtype in kinds.items():
        assert dtype.names is not None
        for name in dtype.names:
            member = f"fullproof_{kind}, {name}"
            lines.append(f'printf("{kind}.{name} %zu\\n", offsetof({member}));')
            fields = dtype.fields
            assert fields is not None
            expected.append(f"{kind}.{name} {fields[name][1]}")
        lines.append(f'printf("{kind} %zu\\n", sizeof(fullproof_{kind}));')
        expected.append(f"{kind} {dtype.itemsize}")
    source = tmp_path / "offsets.c"
    source.write_text(
        '#include <stddef.h>\n#include <stdio.h>\n#include "fullproof.h"\n'
        f"int main(void) {{ {' '.join(lines)} return 0; }}\n"
    )
    program = tmp_path / "offsets"
    single = ["-DFULLPROOF_SINGLE"] if real_bytes == 4 else []
    command = [str(COMPILER), *single, f"-I{HEADER.parent}", "-o", str(program), str(source)]
    subprocess.run(command, check=True)
    said = subprocess.run([str(program)], capture_output=True, text=True, check=True).stdout
    assert said.splitlines() == expected
    assert set(SETTING_NAMES) <= set(layout.settings.names or ())


@needs_compiler
@pytest.mark.parametrize("precision", [[], ["-DFULLPROOF_SINGLE"]])
@pytest.mark.parametrize("language", [["-xc", "-std=c99"], ["-xc++", "-std=c++11"]])
def test_the_header_is_plain_c_and_cpp(
    tmp_path: Path, precision: list[str], language: list[str]
) -> None:
    source = tmp_path / "source"
    source.write_text('#define FULLPROOF_EXPORTS\n#include "fullproof.h"\n')
    strict = ["-Wall", "-Wextra", "-pedantic", "-Wconversion", "-Werror", "-ffreestanding"]
    command = [str(COMPILER), *language, *precision, *strict, f"-I{HEADER.parent}", "-c"]
    subprocess.run([*command, "-o", str(tmp_path / "object.o"), str(source)], check=True)


def test_what_the_worker_calls_is_written_anew_from_the_declarations() -> None:
    assert ABI_FILE.read_text() == abi_module()


@pytest.mark.parametrize(("real_bytes", "slack"), [(4, 1e-7), (8, 0.0)])
def test_settings_go_there_and_back(real_bytes: int, slack: float) -> None:
    settings = Settings(
        sag_v=55.5,
        on_sag="restart",
        on_unconfirmed="wait",
        return_soc=None,
        plausible_v=(8.0, 96.5),
    )
    layout = layout_of(real_bytes)
    back = Settings.from_mapping(settings_mapping(layout, settings_record(layout, settings)))
    for name, value in settings.to_mapping().items():
        same = value if isinstance(value, str | None) else pytest.approx(value, rel=slack)
        assert getattr(back, name) == same, name


def test_a_word_that_does_not_exist_stays_a_number() -> None:
    layout = layout_of(8)
    record = bytearray(settings_record(layout, Settings()))
    record[8] = 9
    assert settings_mapping(layout, bytes(record))["on_sag"] == 9
