"""The part of the header for chargers, its mirror in Python, and what is refused."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from ctrl.charger import CHARGER_SETTING_NAMES, ChargerSettings, Conduct
from harness.attach.base import AttachError, LinkFault
from harness.attach.library.layout import HEADER
from harness.attach.registry import attach
from harness.charger.attach import attach_charger
from harness.charger.library_layout import (
    LAYOUT,
    MESSAGE_VALID,
    VALID,
    charger_layout_of,
    charger_settings_mapping,
    charger_settings_record,
)
from tests.attach.planted import COMPILER, EXAMPLE, compiled, needs_compiler, small
from tests.attach.planted_charger import CHARGER, SMALL_CHARGER, long_trace

pytestmark = needs_compiler


def defined(prefix: str) -> dict[str, int]:
    found = re.findall(rf"#define {prefix}(\w+) (\d+)u", HEADER.read_text())
    return {name.lower(): int(value) for name, value in found}


def test_every_name_has_its_bit_and_every_word_its_number() -> None:
    own = {"time": VALID["t"], "own_v": VALID["own_v"], "own_a": VALID["own_a"]}
    assert defined("FULLPROOF_CHARGER_VALID_") == own
    said = {name.replace("age_s", "age"): bit for name, bit in MESSAGE_VALID.items()}
    assert defined("FULLPROOF_MESSAGE_VALID_") == said
    assert f"#define FULLPROOF_CHARGER_LAYOUT {LAYOUT}u" in HEADER.read_text()
    for conduct in Conduct:
        number = f"FULLPROOF_CHARGER_{conduct.word.upper()} = {int(conduct)}"
        assert number in HEADER.read_text()


@pytest.mark.parametrize("real_bytes", [4, 8])
def test_every_member_lies_where_python_looks(tmp_path: Path, real_bytes: int) -> None:
    layout = charger_layout_of(real_bytes)
    kinds = {
        "charger_sample": layout.sample,
        "charger_output": layout.output,
        "charger_settings": layout.settings,
        "message": layout.message,
    }
    lines, expected = [], []
    for kind, dtype in kinds.items():
        for name, place in (dtype.fields or {}).items():
            lines.append(f'printf("{kind}.{name} %zu\\n", offsetof(fullproof_{kind}, {name}));')
            expected.append(f"{kind}.{name} {place[1]}")
        lines.append(f'printf("{kind} %zu\\n", sizeof(fullproof_{kind}));')
        expected.append(f"{kind} {dtype.itemsize}")
    source, program = tmp_path / "offsets.c", tmp_path / "offsets"
    source.write_text(
        '#include <stddef.h>\n#include <stdio.h>\n#include "fullproof.h"\n'
        f"int main(void) {{ {' '.join(lines)} return 0; }}\n"
    )
    single = ["-DFULLPROOF_SINGLE"] if real_bytes == 4 else []
    command = [str(COMPILER), *single, f"-I{HEADER.parent}", "-o", str(program), str(source)]
    subprocess.run(command, check=True)
    said = subprocess.run([str(program)], capture_output=True, text=True, check=True).stdout
    assert said.splitlines() == expected
    assert set(CHARGER_SETTING_NAMES) <= set(layout.settings.names or ())


@pytest.mark.parametrize("language", [["-xc", "-std=c99"], ["-xc++", "-std=c++11"]])
def test_the_part_for_chargers_is_plain_c_and_cpp(tmp_path: Path, language: list[str]) -> None:
    source = tmp_path / "source"
    both = "#define FULLPROOF_EXPORTS\n#define FULLPROOF_CHARGER_EXPORTS\n"
    source.write_text(both + '#include "fullproof.h"\n')
    strict = ["-Wall", "-Wextra", "-pedantic", "-Wconversion", "-Werror", "-ffreestanding"]
    command = [str(COMPILER), *language, *strict, f"-I{HEADER.parent}", "-c"]
    subprocess.run([*command, "-o", str(tmp_path / "object.o"), str(source)], check=True)


@pytest.mark.parametrize("source", ["charger.c", "charger_library.c"])
def test_the_examples_compile_without_a_warning(source: str) -> None:
    strict = ["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Werror"]
    command = [str(COMPILER), *strict, f"-I{HEADER.parent}", "-fsyntax-only"]
    subprocess.run([*command, str(EXAMPLE.with_name(source))], check=True)


@pytest.mark.parametrize(("real_bytes", "slack"), [(4, 1e-7), (8, 0.0)])
def test_settings_go_there_and_back(real_bytes: int, slack: float) -> None:
    settings = ChargerSettings(packs=3, highest_v=57.3, plausible_v=(31.5, 66.0), zero_s=0.5)
    layout = charger_layout_of(real_bytes)
    record = charger_settings_record(layout, settings)
    back = ChargerSettings.from_mapping(charger_settings_mapping(layout, record))
    for name, value in settings.to_mapping().items():
        assert getattr(back, name) == pytest.approx(value, rel=slack), name


def refusal(library: Path, role: str) -> str:
    opened = attach_charger if role == "charger" else attach
    with pytest.raises(AttachError) as caught, opened(f"lib:{library}") as attachment:
        attachment.hello()
    return str(caught.value)


@pytest.mark.parametrize(
    ("role", "source", "said"),
    [
        ("charger", "int nothing;", "no fullproof_charger_layout, fullproof_charger_describe"),
        ("charger", "int nothing;", "include fullproof.h"),
        ("charger", small(), "it is a controller: attach it with --role controller"),
        ("controller", CHARGER.read_text(), "it is a charger: attach it with --role charger"),
        (
            "charger",
            CHARGER.read_text().replace("#define FULLPROOF_CHARGER_EXPORTS", ""),
            "define FULLPROOF_CHARGER_EXPORTS before fullproof.h",
        ),
    ],
)
def test_what_cannot_be_attached_is_refused(
    tmp_path: Path, role: str, source: str, said: str
) -> None:
    assert said in refusal(compiled(tmp_path, source), role)


@pytest.mark.parametrize(
    ("line", "instead", "said"),
    [
        ("CHARGER_LAYOUT 1u", "CHARGER_LAYOUT 2u", "built with layout 2 of fullproof.h"),
        ("fullproof_real zero_s;", "", "fullproof_charger_settings has 160 bytes"),
        ("fullproof_real age_s; ", "float age_s, more[3];", "fullproof_message has 56 bytes"),
        ("uint8_t reserved[7];", "uint8_t reserved[17];", "fullproof_charger_output has 40"),
        ("0x46505243u", "7u", "does not come from fullproof.h: it begins with 0x7"),
    ],
)
def test_another_header_is_refused(tmp_path: Path, line: str, instead: str, said: str) -> None:
    header = HEADER.read_text()
    assert header.count(line) == 1
    head = f"#define FULLPROOF_CHARGER_EXPORTS\n{header.replace(line, instead)}"
    source = head + SMALL_CHARGER
    assert said in refusal(compiled(tmp_path, source), "charger")


def test_one_library_may_be_both(tmp_path: Path) -> None:
    library = compiled(tmp_path, f"#define FULLPROOF_CHARGER_EXPORTS\n{small()}{SMALL_CHARGER}")
    with attach(f"lib:{library}") as controller, attach_charger(f"lib:{library}") as charger:
        assert controller.hello().name == "small"
        assert charger.hello().name == "other half"
        charger.start(ChargerSettings())
        with pytest.raises(LinkFault, match="set_point_v nan; it must be a finite number"):
            charger.run(long_trace(1, 3))


def test_a_library_that_is_not_named_is_refused() -> None:
    with pytest.raises(AttachError, match=r"names no library; write lib:\./libcharger\.so"):
        attach_charger("lib:")
