"""Logs as a logger writes them: a column of packs, dates in another order, another encoding, a folder."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from harness.errors import InputError
from harness.logs import read_log, read_mapping

HEAD = "Zeit;Satz;Höhe [V];Strom [A];Modus\n"
COLUMNS = """
[columns]
v = "Höhe [V]"
i = { column = "Strom [A]", charging = "negative" }
stage = "Modus"

[stages]
bulk = "laden"
float = "ruhen"
"""
TIME = """
[time]
column = "Zeit"
format = "%d.%m.%Y %H:%M"
zone = "Europe/Zurich"
"""
FILE = """
[file]
decimal = ","
"""
ROWS = (
    ("21.06.2026 12:00", "eins", "53,10", "-20,5", "laden"),
    ("21.06.2026 12:01", "zwei", "53,00", "-19", "laden"),
    ("21.06.2026 12:02", "eins", "", "-20", "laden"),
    ("21.06.2026 12:03", "zwei", "53,30", "-18", "ruhen"),
)


def told(rows: tuple[tuple[str, ...], ...] = ROWS, head: str = HEAD) -> str:
    return head + "".join(";".join(row) + "\n" for row in rows)


def mapping_in(folder: Path, *parts: str) -> Path:
    place = folder / "names.toml"
    place.write_text("".join(parts), encoding="utf-8")
    return place


def test_a_column_names_the_pack_of_each_row(tmp_path: Path) -> None:
    log = tmp_path / "bank.csv"
    log.write_text(told(), encoding="utf-8")
    mapping = read_mapping(mapping_in(tmp_path, FILE, 'pack_column = "Satz"\n', TIME, COLUMNS))
    read = read_log(log, mapping)
    assert [pack.name for pack in read.packs] == ["eins", "zwei"]
    one, two = read.packs
    assert one.trace.t.tolist() == [0.0, 120.0]
    # Every pack counts from the first row of the file.
    assert two.trace.t.tolist() == [60.0, 180.0]
    assert np.isnan(one.trace.v[1])
    assert two.trace.v.tolist() == [53.0, 53.3]
    assert one.trace.i.tolist() == [20.5, 20.0]
    assert [two.line_of(row) for row in range(2)] == [3, 5]
    assert str(read.clock_time(60.0)) == "2026-06-21 12:01:00+02:00"


def test_stamps_of_numbers_count_from_the_first_row_of_the_file(tmp_path: Path) -> None:
    log = tmp_path / "bank.csv"
    log.write_text("t,pack,v,i\n100,a,53,1\n160,b,53,1\n220,a,53,1\n", encoding="utf-8")
    text = '[file]\npack_column = "pack"\n[columns]\nv = "v"\ni = "i"\n'
    read = read_log(log, read_mapping(mapping_in(tmp_path, text)))
    assert [pack.trace.t.tolist() for pack in read.packs] == [[0.0, 120.0], [60.0]]


def test_packs_one_after_the_other_are_no_clock_that_is_set_back(tmp_path: Path) -> None:
    log = tmp_path / "bank.csv"
    log.write_text(told((ROWS[0], ROWS[2], ROWS[1], ROWS[3])), encoding="utf-8")
    mapping = read_mapping(mapping_in(tmp_path, FILE, 'pack_column = "Satz"\n', TIME, COLUMNS))
    read = read_log(log, mapping)
    assert [pack.cuts for pack in read.packs] == [(), ()]
    assert [pack.notes for pack in read.packs] == [(), ()]


@pytest.mark.parametrize("encoding", ["latin-1", "cp1252", "utf-16"])
def test_other_encodings_are_named(tmp_path: Path, encoding: str) -> None:
    log = tmp_path / "bank.csv"
    log.write_text(told(ROWS[:1]), encoding=encoding)
    named = mapping_in(tmp_path, FILE, f'encoding = "{encoding}"\n', TIME, COLUMNS)
    assert read_log(log, read_mapping(named)).packs[0].trace.v.tolist() == [53.1]
    with pytest.raises(InputError, match=r"UTF-(8|16).*\[file\] encoding"):
        read_log(log, read_mapping(mapping_in(tmp_path, FILE, TIME, COLUMNS)))


def test_each_file_of_a_folder_is_a_pack_where_the_mapping_names_none(tmp_path: Path) -> None:
    folder = tmp_path / "bank"
    folder.mkdir()
    for name, row in (("north", ROWS[0]), ("south", ROWS[1])):
        (folder / f"{name}.csv").write_text(told((row,)), encoding="utf-8")
    read = read_log(folder, read_mapping(mapping_in(tmp_path, FILE, TIME, COLUMNS)))
    assert [pack.name for pack in read.packs] == ["north", "south"]
    assert [pack.trace.t.tolist() for pack in read.packs] == [[0.0], [60.0]]


@pytest.mark.parametrize(
    ("parts", "complaint"),
    [
        ((FILE, 'pack_column = "Modul"\n', TIME, COLUMNS), "no column 'Modul'.*pack_column"),
        (
            (FILE, 'pack_column = "Satz"\n', TIME, COLUMNS, '[[pack]]\nname = "x"\n'),
            r"file.pack_column: there are \[\[pack\]\] tables",
        ),
        ((FILE, 'encoding = "morse"\n', TIME, COLUMNS), "file.encoding: there is no encoding"),
        ((FILE, 'encoding = "base64"\n', TIME, COLUMNS), "file.encoding: there is no encoding"),
        ((FILE, TIME.replace("%d", "%Q"), COLUMNS), r"time.format: .*%d.%m.%Y"),
        ((FILE, TIME.replace("%H:%M", ""), COLUMNS), r"tells no date and time of day"),
        ((FILE, TIME.replace("%d.%m", "%m.%d"), COLUMNS), "names.csv:2: .*must be written as"),
        ((FILE, TIME.replace("%d.%m.%Y %H:%M", "iso"), COLUMNS), "names.csv:2: .*%d.%m.%Y"),
        ((FILE, '[time]\ncolumn = "Zeit"\n', COLUMNS), "names.csv:2: .*is it a date"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(
    tmp_path: Path, parts: tuple[str, ...], complaint: str
) -> None:
    log = tmp_path / "names.csv"
    log.write_text(told(), encoding="utf-8")
    with pytest.raises(InputError, match=complaint):
        read_log(log, read_mapping(mapping_in(tmp_path, *parts)))


def test_a_row_of_no_pack_and_a_column_of_no_packs_are_refused(tmp_path: Path) -> None:
    log = tmp_path / "bank.csv"
    mapping = mapping_in(tmp_path, FILE, 'pack_column = "Satz"\n', TIME, COLUMNS)
    log.write_text(told((ROWS[0], (ROWS[1][0], "", *ROWS[1][2:]))), encoding="utf-8")
    with pytest.raises(InputError, match=r"bank.csv:3: Satz: nothing says of which pack"):
        read_log(log, read_mapping(mapping))
    many = tuple((ROWS[0][0], f"{k}", *ROWS[0][2:]) for k in range(65))
    log.write_text(told(many), encoding="utf-8")
    with pytest.raises(InputError, match="65 different words"):
        read_log(log, read_mapping(mapping))


def test_a_pack_in_two_files_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "bank"
    folder.mkdir()
    for name in ("monday", "tuesday"):
        (folder / f"{name}.csv").write_text(told(), encoding="utf-8")
    mapping = mapping_in(tmp_path, FILE, 'pack_column = "Satz"\n', TIME, COLUMNS)
    with pytest.raises(InputError, match=r"pack 'eins' is in monday.csv as well"):
        read_log(folder, read_mapping(mapping))


def test_a_stage_that_is_none_is_told_with_the_line_of_its_row(tmp_path: Path) -> None:
    log = tmp_path / "bank.csv"
    log.write_text(told((*ROWS[:3], (*ROWS[3][:4], "tanzen"))), encoding="utf-8")
    mapping = mapping_in(tmp_path, FILE, 'pack_column = "Satz"\n', TIME, COLUMNS)
    with pytest.raises(InputError, match=r"bank.csv:5: Modus: 'tanzen' is no stage"):
        read_log(log, read_mapping(mapping))
