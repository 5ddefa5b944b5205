"""A log is read the same from any container, by any of the three readers, or refused with its line."""

from __future__ import annotations

import bz2
import gzip
import lzma
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet

from ctrl.vocabulary import Stage
from harness.errors import InputError
from harness.logs import read_log, read_mapping
from harness.logs.cells import Shape, by_arrow, by_cell, by_python
from harness.logs.table import Dates, Kind, Words
from tests.logs.writing import HEADER, ROWS, log_file, mapping_file

TEXT = HEADER + ROWS


def _zstd(data: bytes) -> bytes:
    sink = pa.BufferOutputStream()
    with pa.CompressedOutputStream(sink, "zstd") as stream:
        stream.write(data)
    return bytes(sink.getvalue())


@pytest.mark.parametrize(
    "packed", [bytes, gzip.compress, bz2.compress, lzma.compress, _zstd], ids=lambda f: f.__name__
)
def test_a_log_is_the_same_however_it_is_compressed(tmp_path: Path, packed) -> None:  # type: ignore[no-untyped-def]
    (pack,) = read_log(log_file(tmp_path, packed(TEXT.encode()))).packs
    assert pack.trace.v.tolist() == [53.0, 53.1, 53.2]
    assert pack.stage is not None
    assert pack.stage.tolist() == [Stage.BULK] * 3
    assert pack.notes == ()


def test_a_stream_that_ends_early_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    rows = "".join(f"{t},53.{t % 10},{t * 7 % 13},bulk\n" for t in range(20_000))
    data = gzip.compress((HEADER + rows).encode())
    (pack,) = read_log(log_file(tmp_path, data[: len(data) // 2])).packs
    assert 1000 < len(pack) < 20_000
    assert pack.trace.t.tolist() == list(range(len(pack)))
    assert any("ends early" in note or "no end" in note for note in pack.notes)


def test_a_line_that_is_still_being_written_is_left_out_with_a_note(tmp_path: Path) -> None:
    (pack,) = read_log(log_file(tmp_path, TEXT + "3,53.3,2")).packs
    assert len(pack) == 3
    assert pack.notes == ("pack.csv: line 5 has no end and was left out: '3,53.3,2'",)


def test_nul_bytes_that_a_crash_left_at_the_end_are_left_out(tmp_path: Path) -> None:
    (pack,) = read_log(log_file(tmp_path, TEXT.encode() + b"\0" * 4096)).packs
    assert len(pack) == 3


def test_parquet_gives_what_csv_gives(tmp_path: Path) -> None:
    table = pa.table(
        {
            "t": [0, 1, 2],
            "v": pa.array([53.0, None, 53.2], pa.float32()),
            "i": [20.0, 20.0, 20.5],
            "stage": ["bulk", "absorption", "float"],
            "full_reset": [False, False, True],
        }
    )
    file = tmp_path / "pack.parquet"
    parquet.write_table(table, file)
    (pack,) = read_log(file).packs
    assert pack.stage is not None
    assert pack.full_reset is not None
    assert pack.stage.tolist() == [0, 1, 2]
    assert pack.full_reset.tolist() == [False, False, True]
    assert np.isnan(pack.trace.v[1])


def test_a_parquet_file_that_is_cut_off_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "pack.parquet"
    parquet.write_table(pa.table({"t": [0.0], "v": [53.0], "i": [1.0]}), file)
    file.write_bytes(file.read_bytes()[:-20])
    with pytest.raises(InputError, match=r"is no Parquet file.*still being written"):
        read_log(file)


BLOCK = (
    "2026-06-01T12:00:00,1.5,on\n2026-06-01 12:00:01.250, 2e1 ,\n,NaN,off\n"
    "2026-06-01T12:00:03,-,on\n"
)
SHAPE = Shape(
    ("when", "v", "flag"),
    {"when": 0, "v": 1, "flag": 2},
    {"when": Kind.DATE, "v": Kind.NUMBER, "flag": Kind.WORD},
    ",",
    ".",
    frozenset({"", "nan", "-"}),
)


@pytest.mark.parametrize("fast", [by_arrow, by_python])
def test_the_fast_readers_read_what_the_careful_one_reads(fast) -> None:  # type: ignore[no-untyped-def]
    quick = fast(BLOCK.encode(), 4, SHAPE)
    careful = by_cell(Path("x"), BLOCK.encode(), 2, SHAPE)
    assert quick is not None
    np.testing.assert_array_equal(quick["v"], careful["v"])
    np.testing.assert_array_equal(careful["v"], [1.5, 20.0, np.nan, np.nan])
    for columns in (quick, careful):
        dates, words = columns["when"], columns["flag"]
        assert isinstance(dates, Dates)
        assert isinstance(words, Words)
        assert (np.diff(dates.us[[0, 1, 3]]) == [1_250_000, 1_750_000]).all()
        assert [words.words[code] for code in words.codes] == ["on", "", "off", "on"]


@pytest.mark.parametrize("fast", [by_arrow, by_python])
@pytest.mark.parametrize("block", ["2026-06-01,1,on\n2026-06-01,x,on\n", "2026-06-01,1\n", "\n"])
def test_the_fast_readers_leave_what_is_wrong_to_the_careful_one(fast, block: str) -> None:  # type: ignore[no-untyped-def]
    assert fast(block.encode(), block.count("\n"), SHAPE) is None


def test_without_pyarrow_the_base_install_reads_csv(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("harness.logs.csv_log.find_spec", lambda _: None)
    (pack,) = read_log(log_file(tmp_path, TEXT)).packs
    assert pack.trace.i.tolist() == [20.0, 20.0, 20.5]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "pack.csv: the file is empty"),
        (HEADER, "pack.csv:1: there is a header and nothing else"),
        ("\n" + ROWS, "pack.csv:1: the header is empty"),
        (
            HEADER + "0,53,20,bulk\n1,full,20,bulk\n2,53,1,bulk\n",
            "pack.csv:3: column 2 (v): there is 'full'",
        ),
        (
            HEADER + "0,53,20,bulk\n1,53\n",
            "pack.csv:3: column 3 (i): there are 2 cells, the header has 4",
        ),
        (HEADER + "0,53,20,bulk\n1,53,20,bulk,9\n", "pack.csv:3: there are 5 cells"),
        (HEADER + "0,53,20,bulk\n\n1,53,20,bulk\n", "pack.csv:3: the line is empty"),
        (HEADER + "0,53,20,boost\n", "pack.csv:2: stage: 'boost' is no stage"),
        (HEADER + "0,53,20,bulk\n1,53,20,\n", "pack.csv:3: stage: the stage is blank"),
        (HEADER + f"0,53,{'9' * 500}x,bulk\n", "pack.csv:2: column 3 (i): there is '999"),
        ("t,v,i,v,stage\n0,53,20,53,bulk\n", "column 4 (v): there are two columns of the name 'v'"),
        ("t,u,i,stage\n0,53,20,bulk\n", "pack.csv:1: there is no column 'v'"),
        (HEADER + '0,53,20,"bulk\n', "pack.csv:2: unexpected end of data"),
        (HEADER + "0,53,\xff,bulk\n", "pack.csv:2: column 3 (i): there is"),
        (b"\xff\xfet\0,\0v\0", "the text is UTF-16"),
        (HEADER.encode() + b"0,53,\xff\xff,bulk\n", "pack.csv:2: byte 6: byte 0xff is not UTF-8"),
        (HEADER.encode() + b"0,53,\0,bulk\n", "pack.csv:2: byte 6: there is a NUL byte"),
        ("x" * 2_000_000, "there is no line end in 1000000 bytes"),
        (HEADER + "nan,53,20,bulk\n", "no row has a time stamp"),
    ],
    ids=range(19),
)
def test_a_log_that_cannot_be_read_is_refused_with_its_place(
    tmp_path: Path, text: str | bytes, said: str
) -> None:
    with pytest.raises(InputError) as caught:
        read_log(log_file(tmp_path, text))
    assert said in str(caught.value)


@pytest.mark.parametrize("reader", ["pyarrow", "python"])
def test_words_for_a_missing_reading_are_missing(
    tmp_path: Path, reader: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    if reader == "python":
        monkeypatch.setattr("harness.logs.csv_log.find_spec", lambda _: None)
    words = ["NaN", "nan", "NULL", "n/a", "", "--"]
    rows = "".join(f"{t},{word},1,bulk\n" for t, word in enumerate(words))
    (pack,) = read_log(log_file(tmp_path, HEADER + rows)).packs
    assert np.isnan(pack.trace.v).all()
    mapping = read_mapping(mapping_file(tmp_path, '[file]\nmissing = ["offline"]'))
    log = read_log(log_file(tmp_path, "t,v,i,stage,soc,cell_max_v,temp_c,temp_max_c," + ",".join(
        ("voltage_request_v", "current_request_a", "charger_v", "full_reset", "restart")
    ) + "\n0,Offline,1,bulk" + "," * 9 + "\n"), mapping)  # fmt: skip
    assert np.isnan(log.packs[0].trace.v[0])


def test_a_file_that_is_not_there_and_a_folder_without_logs_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read: No such file"):
        read_log(tmp_path / "nowhere.csv")
    with pytest.raises(InputError, match="there is no log in the folder"):
        read_log(tmp_path)


def test_a_folder_is_one_pack_a_file(tmp_path: Path) -> None:
    log_file(tmp_path, TEXT, "north.csv")
    log_file(tmp_path, gzip.compress(TEXT.encode()), "south.csv.gz")
    log = read_log(tmp_path)
    assert [pack.name for pack in log.packs] == ["north", "south"]
    assert len(log.pack("south")) == 3
