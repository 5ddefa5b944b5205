"""Stamps of any clock become seconds that run on; what cannot be told from them is said."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from harness.errors import InputError
from harness.logs import PackLog, read_log, read_mapping
from harness.logs.clock import stamps_of
from harness.logs.mapping import Clock
from harness.logs.read import read_log as read
from tests.logs.writing import log_file, mapping_file

FILE = Path("pack.csv")
COLUMNS = '[columns]\nv = "v"\ni = "i"\n'


def _read(folder: Path, stamps: list[object], time: str) -> PackLog:
    text = "t,v,i\n" + "".join(f"{stamp},53,1\n" for stamp in stamps)
    mapping = read_mapping(mapping_file(folder, COLUMNS + "[time]\n" + time))
    return read(log_file(folder, text), mapping).packs[0]


def test_milliseconds_that_wrap_run_on(tmp_path: Path) -> None:
    stamps: list[object] = [4_294_966_000, 4_294_967_000, 704, 1_704]
    pack = _read(tmp_path, stamps, 'format = "ms"\nwraps_at = 4294967296')
    assert pack.trace.t == pytest.approx([0.0, 1.0, 2.0, 3.0], abs=1e-9)
    assert pack.restarts == ()
    assert any("wrapped 1 times" in note for note in pack.notes)


def test_a_counter_of_sixteen_bits_wraps_every_minute(tmp_path: Path) -> None:
    t_s = np.arange(0, 3600, 20.0)
    stamps: list[object] = ((t_s * 1000) % 65536).astype(int).tolist()
    pack = _read(tmp_path, stamps, 'format = "ms"\nwraps_at = 65536')
    assert pack.trace.t == pytest.approx(t_s, abs=1e-6)


def test_a_counter_that_wraps_can_still_begin_anew(tmp_path: Path) -> None:
    stamps: list[object] = [50_000_000, 50_001_000, 500, 1_500]
    pack = _read(tmp_path, stamps, 'format = "ms"\nwraps_at = 4294967296')
    assert pack.restarts == (2,)
    assert pack.trace.t.tolist() == [0.0, 1.0, -49_999.5, -49_998.5]


def test_stamps_that_begin_again_near_zero_are_a_loss_of_power(tmp_path: Path) -> None:
    assert _read(tmp_path, [100, 101, 0, 1], 'format = "s"').restarts == (2,)


def test_stamps_that_step_back_elsewhere_are_for_the_rules(tmp_path: Path) -> None:
    pack = _read(tmp_path, [500, 501, 480, 481], 'format = "s"')
    assert pack.restarts == pack.cuts == ()
    assert pack.trace.t.tolist() == [0.0, 1.0, -20.0, -19.0]
    assert pack.notes == ("stamps step back at 1 row",)


def test_a_clock_of_the_logger_that_is_set_back_tells_nothing_of_the_controller(
    tmp_path: Path,
) -> None:
    pack = _read(tmp_path, [500, 501, 0, 1], 'format = "s"\nclock = "logger"')
    assert pack.restarts == ()
    assert pack.cuts == (2,)


def test_repeated_stamps_stay(tmp_path: Path) -> None:
    assert _read(tmp_path, [1, 1, 2, 2], 'format = "s"').trace.t.tolist() == [0, 0, 1, 1]


def test_the_hour_that_comes_twice_is_told_by_the_order_of_the_rows(tmp_path: Path) -> None:
    zone = ZoneInfo("Europe/Zurich")
    begin = datetime(2026, 10, 25, 0, 30, tzinfo=zone).timestamp()
    true_s = [begin + 600.0 * k for k in range(24)]
    stamps: list[object] = [f"{datetime.fromtimestamp(s, zone):%Y-%m-%dT%H:%M:%S}" for s in true_s]
    assert len(set(stamps)) == 24 - 6
    pack = _read(tmp_path, stamps, 'format = "iso"\nzone = "Europe/Zurich"')
    assert pack.trace.t.tolist() == [600.0 * k for k in range(24)]
    assert pack.cuts == ()


def test_an_hour_that_does_not_exist_is_noted(tmp_path: Path) -> None:
    stamps: list[object] = ["2026-03-29T01:59:00", "2026-03-29T02:30:00", "2026-03-29T03:00:00"]
    pack = _read(tmp_path, stamps, 'format = "iso"\nzone = "Europe/Zurich"')
    assert any("skips" in note for note in pack.notes)


def test_dates_with_a_zone_keep_it_and_all_have_one_start(tmp_path: Path) -> None:
    text = "t,v,i\n2026-06-01T12:00:00+02:00,53,1\n2026-06-01T10:00:30Z,53,1\n"
    mapping = read_mapping(mapping_file(tmp_path, COLUMNS + '[time]\nformat = "iso"'))
    log = read_log(log_file(tmp_path, text), mapping)
    assert log.packs[0].trace.t.tolist() == [0.0, 30.0]
    assert log.start is not None
    assert log.start.isoformat() == "2026-06-01T10:00:00+00:00"
    assert str(log.clock_time(30.0)) == "2026-06-01 10:00:30+00:00"


def test_files_of_packs_that_begin_apart_share_one_clock(tmp_path: Path) -> None:
    log_file(tmp_path, "t,v,i\n2026-06-01T12:00:00,53,1\n", "north.csv")
    log_file(tmp_path, "t,v,i\n2026-06-01T12:01:00,53,1\n", "south.csv")
    packs = '[[pack]]\nname = "n"\nfile = "north.csv"\n[[pack]]\nname = "s"\nfile = "south.csv"\n'
    text = COLUMNS + '[time]\nformat = "iso"\n' + packs
    log = read_log(tmp_path, read_mapping(mapping_file(tmp_path, text)))
    assert [pack.trace.t[0] for pack in log.packs] == [0.0, 60.0]


def test_dates_of_which_some_have_a_zone_are_refused(tmp_path: Path) -> None:
    stamps: list[object] = ["2026-06-01T12:00:00", "2026-06-01T12:00:30Z"]
    with pytest.raises(InputError, match=r"pack.csv:3: t: this date has a zone"):
        _read(tmp_path, stamps, 'format = "iso"')


def test_a_date_that_is_none_is_refused_with_its_line(tmp_path: Path) -> None:
    stamps: list[object] = ["2026-06-01T12:00:00", "2026-06-31T12:00:00"]
    with pytest.raises(InputError, match=r"pack.csv:3: column 1 \(t\): there is '2026-06-31"):
        _read(tmp_path, stamps, 'format = "iso"')


def test_a_missing_stamp_stays_missing_and_keeps_the_rows_in_place() -> None:
    stamps = stamps_of(np.array([5.0, np.nan, 7.0, 0.0]), Clock("t"), FILE)
    assert stamps.restarts == (3,)
    assert np.isnan(stamps.t[1])
    assert stamps.t[[0, 2, 3]].tolist() == [0.0, 2.0, -5.0]
