"""A draft of a mapping: what is guessed of a log, and what is left to a person."""

from __future__ import annotations

import gzip
from math import pi, sin
from pathlib import Path

import pytest

from harness.cli.new import STARTERS
from harness.errors import InputError
from harness.logs import read_log, read_mapping
from harness.logs.draft import draft
from harness.logs.draft_columns import date_format, seen, two_ways

OF_THE_HUT = STARTERS / "log" / "2026-06-21.csv.gz"


def drafted(folder: Path, text: str, encoding: str = "utf-8") -> tuple[str, tuple[str, ...]]:
    log = folder / "log.csv"
    log.write_text(text, encoding=encoding)
    found = draft(log)
    (folder / "mapping.toml").write_text(found.text, encoding="utf-8")
    return found.text, found.unknown


def a_day(sign: int = 1, head: str = "time;U_V;I_A", rows: int = 200) -> str:
    """A pack that is charged in the first half and discharged in the second."""
    lines = [
        f"2026-06-21 {6 + k // 60:02d}:{k % 60:02d}:00;{52 + 2 * sin(pi * k / rows):.2f};"
        f"{sign * (20 if k < rows / 2 else -20)}"
        for k in range(rows)
    ]
    return "\n".join([head, *lines]) + "\n"


def test_the_log_of_the_hut_can_be_read_by_its_draft(tmp_path: Path) -> None:
    text, unknown = drafted(tmp_path, gzip.decompress(OF_THE_HUT.read_bytes()).decode())
    read = read_log(tmp_path / "log.csv", read_mapping(tmp_path / "mapping.toml"))
    assert [pack.name for pack in read.packs] == ["Pack 1", "Pack 2", "Pack 3"]
    pack = read.pack("Pack 2")
    assert pack.charger_v is not None
    assert pack.soc is not None
    assert pack.trace.cell_max_v is not None
    # Which words are which stage is not for a program to say.
    assert pack.stage is None
    assert len(unknown) == 1
    assert "'Mode'" in unknown[0]
    assert '# bulk = "charging"' in text
    assert pack.trace.i[0] == 3.8


@pytest.mark.parametrize("sign", [1, -1])
def test_the_sign_of_the_current_is_seen_by_the_voltage(tmp_path: Path, sign: int) -> None:
    text, unknown = drafted(tmp_path, a_day(sign))
    assert ('charging = "negative"' in text) is (sign < 0)
    assert unknown == ()


def test_a_sign_that_nothing_shows_is_asked_for(tmp_path: Path) -> None:
    _, unknown = drafted(tmp_path, a_day(rows=20))
    assert unknown == ("i: is its number positive or negative while the pack is charged?",)


def test_encoding_decimal_mark_and_lines_before_the_header_are_found(tmp_path: Path) -> None:
    text = a_day(head="Zeit;Höhe [V];Strom [A]").replace(".", ",")
    text, _ = drafted(tmp_path, "logger of the hut\n" + text, "cp1252")
    read = read_log(tmp_path / "log.csv", read_mapping(tmp_path / "mapping.toml"))
    assert read.packs[0].trace.v[0] == 52.0
    assert "header_line = 2" in text
    assert 'encoding = "cp1252"' in text
    assert 'decimal = ","' in text


def test_numbers_in_other_units_and_requests_are_told_apart(tmp_path: Path) -> None:
    head = "t,cell min mV,cell max mV,pack_mV,requested V,limit_A,current_mA,state"
    rows = "".join(f"{k},3310,3330,53120,56,100,{1000 + k},bulk\n" for k in range(5))
    text, _ = drafted(tmp_path, f"{head}\n{rows}")
    pack = read_log(tmp_path / "log.csv", read_mapping(tmp_path / "mapping.toml")).packs[0]
    assert pack.trace.v[0] == 53.12
    assert pack.trace.i[0] == 1.0
    assert pack.trace.cell_max_v is not None
    assert pack.trace.cell_max_v[0] == 3.33
    assert pack.voltage_request_v is not None
    assert pack.voltage_request_v[0] == 56.0
    assert pack.current_request_a is not None
    assert pack.stage is not None
    assert "not used: 'cell min mV'" in text


@pytest.mark.parametrize(
    ("cells", "pattern", "other"),
    [
        (["2026-06-21T05:00"], "iso", ""),
        (["21.06.2026 05:00"], "%d.%m.%Y %H:%M", ""),
        (["21/06/2026 05:00:00"], "%d/%m/%Y %H:%M:%S", ""),
        (["06/21/2026 05:00:00"], "%m/%d/%Y %H:%M:%S", ""),
        (["06/07/2026 05:00:00"], "%d/%m/%Y %H:%M:%S", "%m/%d/%Y %H:%M:%S"),
        (["2026-06-21"], "", ""),
        (["yesterday"], "", ""),
    ],
)
def test_orders_of_a_date(cells: list[str], pattern: str, other: str) -> None:
    column = seen("time", cells, ".")
    assert date_format(column) == pattern
    if pattern:
        assert two_ways(column, pattern) == other


@pytest.mark.parametrize("text", ["", "no end", "one\ntwo\nthree\n", "a;b\n1;2\n"])
def test_what_is_no_table_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(InputError):
        drafted(tmp_path, text)


def test_what_no_column_looks_like_is_told(tmp_path: Path) -> None:
    text, unknown = drafted(tmp_path, "x;y;z\n1;2;3\n4;5;6\n")
    assert [each.partition(":")[0] for each in unknown] == ["[time] column", "v", "i"]
    assert "# not used: 'x', as '1'" in text
