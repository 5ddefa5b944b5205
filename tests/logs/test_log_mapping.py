"""A mapping says how the columns of a log are called, in which units and words; or what is wrong with it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ctrl.vocabulary import Stage
from harness.errors import InputError
from harness.logs import read_log, read_mapping
from tests.logs.writing import log_file, mapping_file

THEIRS = """Zeit;Spannung;Strom;Modus;Laden;Grad;Reset
0,0;53125;-2500;1;80,5;68,0;0
0,5;53250;1500;2;81;50;1
1,0;55800;0;3.0;100;32;nein
"""
MAPPING = """
[log]
complete = true
controller = "bench unit"
version = "4"
features = ["soc"]
[file]
delimiter = ";"
decimal = ","
[time]
column = "Zeit"
format = "min"
[columns]
v = { column = "Spannung", unit = "mV" }
i = { column = "Strom", unit = "mA", charging = "negative" }
stage = "Modus"
soc = { column = "Laden", unit = "%" }
temp_c = { column = "Grad", unit = "degF", offset = 0.0 }
full_reset = { column = "Reset", true = ["1", "ja"] }
[stages]
bulk = [1, "CC"]
absorption = 2
float = 3
[settings]
cells = 16
hold_s = 600
"""


def test_units_signs_words_and_decimal_commas_become_ours(tmp_path: Path) -> None:
    theirs = THEIRS.replace("nein", "no")
    log = read_log(log_file(tmp_path, theirs), read_mapping(mapping_file(tmp_path, MAPPING)))
    (pack,) = log.packs
    assert pack.trace.t.tolist() == [0.0, 30.0, 60.0]
    # 55800 mV are 55.8 V to the last bit: it decides whether a threshold is reached.
    assert pack.trace.v.tolist() == [53.125, 53.25, 55.8]
    assert pack.trace.i.tolist() == [2.5, -1.5, 0.0]
    assert pack.soc is not None
    assert pack.soc.tolist() == [0.805, 0.81, 1.0]
    assert pack.trace.temp_c is not None
    assert pack.trace.temp_c == pytest.approx([20.0, 10.0, 0.0], abs=1e-9)
    assert pack.stage is not None
    assert pack.stage.tolist() == [Stage.BULK, Stage.ABSORPTION, Stage.FLOAT]
    assert pack.full_reset is not None
    assert pack.full_reset.tolist() == [False, True, False]
    assert log.controller == ("bench unit", "4")
    assert log.features == frozenset({"soc"})
    assert log.settings is not None
    assert log.settings.hold_s == 600


def test_a_flag_that_is_neither_true_nor_false_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"pack.csv:4: Reset: 'nein' is neither true nor false"):
        read_log(log_file(tmp_path, THEIRS), read_mapping(mapping_file(tmp_path, MAPPING)))


def test_several_packs_stand_in_columns_or_in_files(tmp_path: Path) -> None:
    text = "s,U1,U2,A1,A2,both\n0,53,54,1,2,bulk\n1,53,54,1,2,float\n"
    mapping = """
[time]
column = "s"
[columns]
stage = "both"
[[pack]]
name = "left"
columns = { v = "U1", i = "A1" }
[[pack]]
name = "right"
columns = { v = "U2", i = "A2" }
"""
    log = read_log(log_file(tmp_path, text), read_mapping(mapping_file(tmp_path, mapping)))
    assert [(p.name, p.trace.v[0], p.trace.i[0]) for p in log.packs] == [
        ("left", 53.0, 1.0),
        ("right", 54.0, 2.0),
    ]
    log_file(tmp_path, text, "other.csv")
    apart = mapping.replace('name = "right"', 'name = "right"\nfile = "other.csv"')
    log = read_log(tmp_path / "pack.csv", read_mapping(mapping_file(tmp_path, apart)))
    assert [p.file.name for p in log.packs] == ["pack.csv", "other.csv"]


def test_a_blank_stage_is_the_one_before_where_the_mapping_says_so(tmp_path: Path) -> None:
    text = "t,v,i,stage\n0,53,1,bulk\n1,53,1,\n2,53,1,float\n3,53,1,\n"
    mapping = '[columns]\nv = "v"\ni = "i"\nstage = "stage"\n[stages]\nblank = "before"\n'
    log = read_log(log_file(tmp_path, text), read_mapping(mapping_file(tmp_path, mapping)))
    assert log.packs[0].stage is not None
    assert log.packs[0].stage.tolist() == [0, 0, 2, 2]


def test_a_restart_is_told_by_a_flag_or_by_a_counter(tmp_path: Path) -> None:
    text = "t,v,i,stage,boots\n0,53,1,bulk,7\n1,53,1,bulk,7\n2,53,1,bulk,8\n"
    columns = '[columns]\nv = "v"\ni = "i"\nstage = "stage"\nrestart = '
    counted = mapping_file(tmp_path, columns + '{ column = "boots", on_change = true }')
    log = read_log(log_file(tmp_path, text), read_mapping(counted))
    assert log.packs[0].restarts == (2,)
    flagged = mapping_file(tmp_path, columns + '{ column = "boots", true = [8] }')
    with pytest.raises(InputError, match=r"boots: '7' is neither true nor false"):
        read_log(log_file(tmp_path, text), read_mapping(flagged))
    text = text.replace(",7", ",0").replace(",8", ",yes")
    log = read_log(
        log_file(tmp_path, text),
        read_mapping(mapping_file(tmp_path, columns + '"boots"')),
    )
    assert log.packs[0].restarts == (2,)


def test_the_battery_data_format_needs_no_mapping(tmp_path: Path) -> None:
    text = "Voltage / V,Test Time / s,Current / A,Step Count / 1\n53,10,1,1\n54,11,2,1\n"
    (pack,) = read_log(log_file(tmp_path, text)).packs
    assert pack.trace.t.tolist() == [0.0, 1.0]
    assert pack.trace.v.tolist() == [53.0, 54.0]
    assert pack.stage is None


@pytest.mark.parametrize(
    ("mapping", "said"),
    [
        ("[columns\n", "map.toml:1: character 9: is no TOML"),
        (
            "[colums]\nv = 'U'\n",
            "map.toml:1: colums: there is no field 'colums'; did you mean 'columns'?",
        ),
        ("[columns]\nvv = 'U'\n", "map.toml:2: columns.vv: there is no field 'vv'"),
        ("[columns]\nv = 5\n", "map.toml:2: columns.v: there is 5; it must be a table"),
        (
            "[columns]\nv = { column = 'U', unit = 'Volt' }\n",
            "map.toml:2: columns.v.unit: there is no unit 'Volt' for v",
        ),
        (
            "[columns]\nv = { column = 'U', charging = 'negative' }\n",
            "columns.v.charging: v is no current",
        ),
        ("[columns]\nv = { column = 'U', scale = 0 }\n", "columns.v.scale: it is 0"),
        ("[columns]\nv = { unit = 'V' }\n", "columns.v.column: it is missing"),
        (
            "[time]\nformat = 'iso8601'\n",
            "map.toml:2: time.format: there is 'iso8601'; did you mean 'iso'?",
        ),
        (
            "[time]\nformat = 'iso'\nzone = 'Mars/North'\n",
            "map.toml:3: time.zone: there is no zone",
        ),
        ("[time]\nzone = 'UTC'\n", "map.toml:2: time.zone: the format is"),
        ("[time]\nwraps_at = 0\n", "map.toml:2: time.wraps_at: it is 0; it must be greater than 0"),
        ("[file]\ndelimiter = ';;'\n", "map.toml:2: file.delimiter: there is ';;'"),
        ("[file]\ndelimiter = ','\ndecimal = ','\n", "map.toml:3: file.decimal: it is ',', as is"),
        ("[stages]\nbulk = 1\nfloat = [2, 1]\n", "map.toml:3: stages.float: '1' is bulk as well"),
        ("[stages]\nboost = 1\n", "map.toml:2: stages.boost: there is no field 'boost'"),
        (
            "[log]\ncomplete = 'yes'\n",
            "map.toml:2: log.complete: there is 'yes'; it must be true or false",
        ),
        (
            "[log]\nfeatures = ['socs']\n",
            "log.features: there is no feature 'socs'; did you mean 'soc'?",
        ),
        ("[settings]\nhold_s = -1\n", "map.toml:1: settings: hold_s"),
        ("[[pack]]\nname = 'a'\n[[pack]]\nname = 'a'\n", "pack[2].name: there are two packs 'a'"),
        ("[columns]\nv = 'U'\n", "map.toml: columns: nothing says which column is i"),
        (
            "[columns]\nv = 'Spanung'\ni = 'Strom'\n[time]\ncolumn = 'Zeit'\n",
            "pack.csv:1: there is no column 'Spanung', which [columns] asks for as v in",
        ),
        (
            "[file]\ndelimiter = '|'\n[columns]\nv = 'Spannung'\ni = 'Strom'\n[time]\ncolumn = 'Zeit'\n",
            "is the delimiter another one?",
        ),
        (
            "[columns]\nv = 'Spannung'\ni = 'Strom'\n[time]\ncolumn = 'Zeit'\n",
            "pack.csv:2: column 1 (Zeit): there is '0,0'; is it a decimal comma?",
        ),
        (
            "[columns]\nv = 'Zeit'\ni = 'Strom'\n[time]\ncolumn = 'Zeit'\nformat = 'iso'\n",
            "the column 'Zeit' cannot be both a date and a number",
        ),
    ],
    ids=range(25),
)
def test_what_is_wrong_with_a_mapping_is_said_with_its_place(
    tmp_path: Path, mapping: str, said: str
) -> None:
    with pytest.raises(InputError) as caught:
        read_log(log_file(tmp_path, THEIRS), read_mapping(mapping_file(tmp_path, mapping)))
    assert said in str(caught.value).replace(f"{tmp_path}/", "")


def test_numbers_that_need_no_change_are_not_copied(tmp_path: Path) -> None:
    (pack,) = read_log(log_file(tmp_path, "t,v,i\n0,53,1\n1,53,1\n")).packs
    assert pack.trace.v.dtype == np.float64
    assert pack.stage is None
