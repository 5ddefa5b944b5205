"""What the readers of traces take, and what they refuse with file, line and column."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from harness.cases import csv_pieces
from harness.cases.trace_file import read, read_pieces, write
from harness.errors import InputError
from harness.run import Trace

NAN = float("nan")


def refusal(path: Path) -> str:
    """The text with which a file is refused, without the folder it is in."""
    with pytest.raises(InputError) as caught:
        read(path)
    assert caught.value.exit_code == 2
    return str(caught.value).replace(f"{path.parent}/", "")


BAD_CSV = {
    "empty file": (b"", "bad: the file is empty; the first line must be t,v,i"),
    "blank lines only": (b"\n\n", "bad: the file is empty; the first line must be t,v,i"),
    "blank first line": (b"\nt,v,i\n0,1,2\n", "bad:1: the line is empty; begin with t,v,i"),
    "header only": (b"t,v,i\n", "bad:2: there is a header and nothing else; add one row a sample"),
    "missing column": (
        b"t,v\n0,55\n",
        "bad:1: the column i is missing; the header is 't,v', and a trace has at least t,v,i",
    ),
    "unknown column": (
        b"t,v,i,temp_maxc\n0,55,1,20\n",
        "bad:1: column 4 (temp_maxc): there is no column 'temp_maxc'; did you mean temp_max_c? "
        "known are t, v, i, cell_max_v, temp_c, temp_max_c",
    ),
    "no header": (
        b"0,55,1\n1,55,1\n",
        "bad:1: column 1 (0): there is no column '0'; known are t, v, i, cell_max_v, temp_c, "
        "temp_max_c",
    ),
    "duplicate column": (
        b"t,v,i,v\n0,55,1,55\n",
        "bad:1: column 4 (v): there are two columns of the name 'v'; the other is column 2",
    ),
    "text in a number": (
        b"t,v,i\n0,55,1\n1,55 V,1\n",
        "bad:3: column 2 (v): there is '55 V'; it must be a number, or an empty cell for a "
        "reading that is missing",
    ),
    "number with an underscore": (
        b"t,v,i\n0,55,1_0\n",
        "bad:2: column 3 (i): there is '1_0'; it must be a number, or an empty cell for a "
        "reading that is missing",
    ),
    "hexadecimal number": (
        b"t,v,i\n0,0x37,1\n",
        "bad:2: column 2 (v): there is '0x37'; it must be a number, or an empty cell for a "
        "reading that is missing",
    ),
    "quoted number": (
        b't,v,i\n0,"55",1\n',
        "bad:2: column 2 (v): there is '\"55\"'; it must be a number, or an empty cell for a "
        "reading that is missing",
    ),
    "too few cells": (
        b"t,v,i\n0,55,1\n1,55\n",
        "bad:3: column 3 (i): there are 2 cells, the header has 3 names; a reading that is "
        "missing is an empty cell",
    ),
    "too many cells": (
        b"t,v,i\n0,55,1,7\n",
        "bad:2: there are 4 cells, the header has 3 names; take the others out",
    ),
    "separators mixed in the header": (
        b"t,v;i\n0,55,1\n",
        "bad:1: the header has both , and ; between its names; use one of them throughout, and a "
        "point in decimals",
    ),
    "separators mixed in the rows": (
        b"t,v,i\n0,55,1\n1;55;1\n",
        "bad:3: the separator here is ;, in the header it is ,; use one of them throughout, and a "
        "point in decimals",
    ),
    "both separators in one row": (
        b"t,v,i\n0,55;1,1\n",
        "bad:2: column 2 (v): there is '55;1'; use one separator throughout, and a point in "
        "decimals",
    ),
    "decimal commas": (
        b"t;v;i\n0;55,8;1\n",
        "bad:2: column 2 (v): there is '55,8'; use one separator throughout, and a point in "
        "decimals",
    ),
    "comment line": (
        b"t,v,i\n# noon,,\n0,55,1\n",
        "bad:2: column 1 (t): there is '# noon'; a trace has no comment lines",
    ),
    "blank line in the middle": (
        b"t,v,i\n0,55,1\n\n1,55,1\n",
        "bad:3: the line is empty; take it out",
    ),
    "NUL byte": (
        b"t,v,i\n0,55,1\n1,5\x005,1\n",
        "bad:3: byte 4: there is a NUL byte; a trace is plain text in UTF-8",
    ),
    "not UTF-8": (
        b"t,v,i\n0,55,1\n1,55,\xb5\n",
        "bad:3: byte 6: byte 0xb5 is not UTF-8; save the file as UTF-8",
    ),
    "UTF-16": (
        "t,v,i\n0,55,1\n".encode("utf-16"),
        "bad:1: the text is UTF-16; save it as UTF-8",
    ),
    "carriage returns alone": (
        b"t,v,i\r0,55,1\r",
        "bad:1: the lines end with a carriage return alone; end them with a line feed",
    ),
    "carriage return in a row": (
        b"t,v,i\n0,5\r5,1\n",
        "bad:2: column 2 (v): there is '5\\r5'; it must be a number, or an empty cell for a "
        "reading that is missing",
    ),
    "column of the Battery Data Format missing": (
        b"Test Time / s,Voltage / V\n0,55\n",
        "bad:1: the column 'Current / A' is missing; the Battery Data Format requires "
        "Test Time / s, Voltage / V, Current / A",
    ),
    "uneven row of the Battery Data Format": (
        b"Test Time / s,Voltage / V,Current / A,Step Count / 1\n0,55,1,1\n1,55,1\n",
        "bad:3: column 4 (Step Count / 1): there are 3 cells, the header has 4 names; a reading "
        "that is missing is an empty cell",
    ),
}


@pytest.mark.parametrize("name", BAD_CSV)
def test_a_csv_that_is_no_trace_is_refused_with_its_place(name: str, tmp_path: Path) -> None:
    content, message = BAD_CSV[name]
    path = tmp_path / "bad"
    path.write_bytes(content)
    assert refusal(path) == message


@pytest.mark.parametrize("name", [n for n in BAD_CSV if "UTF-16" not in n])
def test_the_place_is_right_in_any_piece(name: str, tmp_path: Path) -> None:
    content, message = BAD_CSV[name]
    path = tmp_path / "bad"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        list(csv_pieces.csv_pieces(path, 4))
    assert str(caught.value).replace(f"{path.parent}/", "") == message


BAD_JSON = {
    "a list": (b"[1]", "bad: there is a list; it must be an object with columns and rows"),
    "no rows": (
        b'{"columns": ["t", "v", "i"]}',
        "bad: the member rows is missing; it must be a list",
    ),
    "empty rows": (b'{"columns": ["t", "v", "i"], "rows": []}', "bad: rows: there are no rows"),
    "columns are text": (
        b'{"columns": "tvi", "rows": [[0, 55, 1]]}',
        "bad: the member columns is 'tvi'; it must be a list",
    ),
    "unknown column": (
        b'{"columns": ["t", "v", "amps"], "rows": [[0, 55, 1]]}',
        "bad: columns[2]: there is 'amps'; it must be one of t, v, i, cell_max_v, temp_c, "
        "temp_max_c, each once",
    ),
    "missing column": (
        b'{"columns": ["t", "v"], "rows": [[0, 55]]}',
        "bad: columns: the column i is missing",
    ),
    "text in a number": (
        b'{"columns": ["t", "v", "i"], "rows": [[0, 55, 1], [1, "55", 1]]}',
        "bad: rows[1][1] (v): there is '55'; it must be a number, or null for a reading that is "
        "missing",
    ),
    "true for a number": (
        b'{"columns": ["t", "v", "i"], "rows": [[0, true, 1]]}',
        "bad: rows[0][1] (v): there is True; it must be a number, or null for a reading that is "
        "missing",
    ),
    "uneven row": (
        b'{"columns": ["t", "v", "i"], "rows": [[0, 55, 1], [1, 55]]}',
        "bad: rows[1]: there is 2 readings; a row has 3 readings, one for each of columns",
    ),
    "a row is no list": (
        b'{"columns": ["t", "v", "i"], "rows": [7]}',
        "bad: rows[0]: there is 7; a row has 3 readings, one for each of columns",
    ),
}


@pytest.mark.parametrize("name", BAD_JSON)
def test_a_json_that_is_no_trace_is_refused_with_its_member(name: str, tmp_path: Path) -> None:
    content, message = BAD_JSON[name]
    path = tmp_path / "bad"
    path.write_bytes(content)
    assert refusal(path) == message


def test_what_is_no_json_is_refused_with_line_and_character(tmp_path: Path) -> None:
    path = tmp_path / "bad"
    path.write_bytes(b'{"columns": ["t", "v", "i"],\n "rows": [[0, NaN, 1]]}')
    # The parser's own words come in the middle; they change from release to release.
    assert refusal(path).startswith("bad:2: character 15: is no JSON: ")
    assert refusal(path).endswith("a missing reading is null, NaN and Infinity do not exist")


def test_what_cannot_be_opened_is_refused(tmp_path: Path) -> None:
    said = refusal(tmp_path / "none.csv")
    assert said == f"none.csv: cannot be read: No such file or directory; seen from {Path.cwd()}"
    with pytest.raises(InputError, match="cannot be read: Is a directory"):
        read(tmp_path)
    with pytest.raises(InputError, match="cannot be written"):
        write(tmp_path / "none" / "a.csv", Trace(*(np.array([0.0]),) * 3))


def test_a_file_without_line_ends_is_not_collected_in_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "bad"
    path.write_bytes(b"t,v,i\n" + b"7" * 5000)
    monkeypatch.setattr(csv_pieces, "LONGEST_LINE_BYTES", 1000)
    with pytest.raises(InputError, match=r"bad:2: there is no row in 1000 bytes"):
        list(csv_pieces.csv_pieces(path, 600))


GOOD_CSV = {
    "plain": b"t,v,i\n0,55,1\n1,55.5,-2e-1\n",
    "byte-order mark": b"\xef\xbb\xbft,v,i\n0,55,1\n1,55.5,-0.2\n",
    "Windows line ends": b"t,v,i\r\n0,55,1\r\n1,55.5,-0.2\r\n",
    "both": b"\xef\xbb\xbft,v,i\r\n0,55,1\r\n1,55.5,-0.2\r\n",
    "no line end at the end": b"t,v,i\n0,55,1\n1,55.5,-0.2",
    "blank lines at the end": b"t,v,i\n0,55,1\n1,55.5,-0.2\n\n \r\n\n",
    "blanks around cells": b"t, v, i\n 0 , 55 , 1\n1, 55.5, -0.2 \n",
    "semicolons throughout": b"t;v;i\n0;55;1\n1;55.5;-0.2\n",
    "columns in another order": b"i,t,v\n1,0,55\n-0.2,1,55.5\n",
    "Battery Data Format": b"Test Time / s,Voltage / V,Current / A\n0,55,1\n1,55.5,-0.2\n",
    "with columns of no concern": (
        b"Step Name,Test Time / s,Voltage / V,Current / A\nrest,0,55,1\nload,1,55.5,-0.2\n"
    ),
}


@pytest.mark.parametrize("piece_bytes", [3, 17, 8_000_000])
@pytest.mark.parametrize("name", GOOD_CSV)
def test_every_legal_spelling_reads_the_same(name: str, piece_bytes: int, tmp_path: Path) -> None:
    path = tmp_path / "good"
    path.write_bytes(GOOD_CSV[name])
    pieces = list(csv_pieces.csv_pieces(path, piece_bytes))
    assert np.concatenate([piece.t for piece in pieces]).tolist() == [0.0, 1.0]
    assert np.concatenate([piece.v for piece in pieces]).tolist() == [55.0, 55.5]
    assert np.concatenate([piece.i for piece in pieces]).tolist() == [1.0, -0.2]


def test_a_missing_reading_is_nan_in_any_column(tmp_path: Path) -> None:
    path = tmp_path / "gaps.csv"
    path.write_bytes(
        b"t,v,i,cell_max_v,temp_c\n,55,1,3.4,20\n1,,,nan,NULL\n2,null,NaN,,\n3,inf,-Infinity,3.4, \n"
    )
    trace = read(path)
    assert np.array_equal(trace.t, [NAN, 1, 2, 3], equal_nan=True)
    assert np.array_equal(trace.v, [55, NAN, NAN, np.inf], equal_nan=True)
    assert np.array_equal(trace.i, [1, NAN, NAN, -np.inf], equal_nan=True)
    assert trace.cell_max_v is not None
    assert np.array_equal(trace.cell_max_v, [3.4, NAN, NAN, 3.4], equal_nan=True)
    assert trace.temp_c is not None
    assert np.array_equal(trace.temp_c, [20, NAN, NAN, NAN], equal_nan=True)
    assert trace.temp_max_c is None


def test_time_that_runs_backwards_is_legal(tmp_path: Path) -> None:
    path = tmp_path / "back.csv"
    path.write_bytes(b"t,v,i\n5,55,1\n4,55,1\n4,55,1\n")
    assert read(path).t.tolist() == [5.0, 4.0, 4.0]


def test_json_reads_null_as_missing(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    path.write_bytes(
        b'{"columns": ["t", "v", "i", "temp_c"], "rows": [[0, 55, 1, null], [1, 2, 3, 4]]}'
    )
    trace = read(path)
    assert trace.v.tolist() == [55.0, 2.0]
    assert trace.temp_c is not None
    assert np.array_equal(trace.temp_c, [NAN, 4], equal_nan=True)


def test_what_is_written_reads_back_to_the_same_bits(tmp_path: Path) -> None:
    generator = np.random.default_rng(7)
    columns = {
        name: generator.normal(size=1000) * 10.0**k for k, name in enumerate(("t", "v", "i"))
    }
    columns["temp_c"] = np.where(generator.random(1000) < 0.5, NAN, columns["t"])
    columns["v"][:3] = [1e-300, 2.0**60, 0.1 + 0.2]
    write(tmp_path / "a.csv", Trace(**columns))
    back = read(tmp_path / "a.csv")
    assert back.columns == ("t", "v", "i", "temp_c")
    for name, values in columns.items():
        assert np.array_equal(back.column(name), values, equal_nan=True), name


def test_whole_numbers_are_written_without_a_point(tmp_path: Path) -> None:
    write(
        tmp_path / "a.csv",
        Trace(np.array([0.0, 1.5]), np.array([55.0, NAN]), np.array([-1.0, 0.0])),
    )
    assert (tmp_path / "a.csv").read_text() == "t,v,i\n0,55,-1\n1.5,,0\n"


def test_a_long_file_comes_in_pieces_that_join_to_the_whole(tmp_path: Path) -> None:
    count = 30_000
    t = np.arange(count, dtype=float)
    write(tmp_path / "long.csv", Trace(t, 55 + np.sin(t), np.cos(t)))
    pieces = list(csv_pieces.csv_pieces(tmp_path / "long.csv", 100_000))
    assert len(pieces) > 10
    assert max(len(piece) for piece in pieces) < 5000
    assert np.array_equal(np.concatenate([piece.t for piece in pieces]), t)
    assert np.array_equal(read(tmp_path / "long.csv").v, 55 + np.sin(t))


def test_a_short_file_is_one_piece(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(GOOD_CSV["plain"])
    assert [len(piece) for piece in read_pieces(tmp_path / "a.csv")] == [2]
