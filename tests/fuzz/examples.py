"""Valid files of every kind, small enough to be read many times a second."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path

import orjson
from attrs import evolve

from harness.report.result import Result

ROOT = Path(__file__).parents[2]
VECTORS = ROOT / "vectors"
MOST_ROWS = 12
Seeds = tuple[bytes, ...]

OWN_LOG = b"""t,v,i,stage,soc,full_reset
0,53.0,20,bulk,0.5,0
1,53.1,20,bulk,0.5,0
2,55.9,20.5,absorption,0.51,0
63,55.9,2.5,float,1.0,1
64,55.2,0.5,float,1.0,0
"""
DATED_LOG = b"""Zeit;Sp hut;Strom hut;Phase hut;voll
2031-02-03 04:05:06;53,0;20;1;0
2031-02-03 04:05:07;53,1;20;1;0
2031-02-03 04:05:09;55,9;20,5;2;1
"""
OPEN_LOG = b"""Test Time / s,Voltage / V,Current / A
0,53.0,20
1,53.1,20.5
2,55.9,20.5
"""
OWN_MAPPING = b"""[log]
complete = true
starts = "power_up"
gap_s = 60
controller = "hut"
features = ["soc", "full_reset"]

[time]
column = "t"
format = "s"
wraps_at = 4294967296
restarts = "near_zero"

[columns]
v = "v"
i = { column = "i", unit = "A", scale = 1.0, offset = 0.5, charging = "negative" }
stage = "stage"
soc = { column = "soc" }
full_reset = { column = "full_reset", true = ["1", "yes"], on_change = false }

[stages]
bulk = ["bulk", 1]
absorption = "absorption"
float = "float"
blank = "before"

[settings]
cells = 16
hold_s = 60
sag_v = "none"
"""
DATED_MAPPING = b"""[file]
delimiter = ";"
decimal = ","
header_line = 1
missing = ["", "-"]

[time]
column = "Zeit"
format = "iso"
zone = "Europe/Berlin"

[[pack]]
name = "hut"

[pack.columns]
v = "Sp hut"
i = "Strom hut"
stage = "Phase hut"

[stages]
bulk = 1
absorption = 2
float = 3
"""
# The log that each of the mappings is about.
LOG_OF_MAPPINGS = {"Zeit": DATED_LOG, "": OWN_LOG}
TRACE = (
    b"t,v,i,cell_max_v,temp_c,temp_max_c\n0,54.3,2.8,3.41,20,21\n1,55.9,2.8,3.41,20,21\n2,,2.8,,,\n"
)
SETTINGS_TOML = (
    b'cells = 16\nhold_s = 360\nentry_v = 55.8\non_sag = "pause"\nplausible_v = [30, 70]\n'
)
SETTINGS_JSON = b'{"cells": 8, "hold_s": 360, "sag_v": null, "plausible_i": [-300, 300]}'
KNOWN = b"""[[known]]
requirement = "HOLD.full-length"
vector = "hold/sag-runs-on"
reason = "release 2.3 rounds down"

[[known]]
requirement = "FULL.confirmed"
reason = "being worked on"
"""
FMU_MAPPING = b"""first_step_s = 1.0
features = ["soc"]

[inputs]
v = "PackVoltage"
i = { name = "PackCurrent", factor = -1.0, none = 0 }

[parameters]
hold_s = "HoldTime"
on_sag = { name = "SagRule", words = { run = 0, pause = 1, restart = 2 } }

[outputs]
stage = { name = "Stage", words = { bulk = 1, absorption = 2, float = 3 } }

[settings]
cells = 16
hold_s = 60
"""
STUDY = b"""title = "Which rule at the pier"
scenario = "thin-cable"
rules = ["voltage_after_hold", "taper"]
policies = ["every"]
banks = 2
days = 1
seed = 3
false_full_below_soc = 0.97

[grid]
hold_s = [600, 1800]
sag_v = ["none"]

[[population]]
part = "pack.soc"
law = "uniform"
low = 0.2
high = 0.6
how = "set"
source = "a guess"
"""


def logs() -> Seeds:
    """Logs in our own names, in names of an open standard, and in those of a mapping."""
    return OWN_LOG, OPEN_LOG, DATED_LOG


def mappings() -> Seeds:
    """Mappings of two of the logs."""
    return OWN_MAPPING, DATED_MAPPING


def _shortened(path: Path) -> bytes:
    """A shipped vector with its first rows alone, and what is expected of those."""
    told = orjson.loads(path.read_bytes())
    told["rows"] = told["rows"][:MOST_ROWS]
    for name in ("power_cycles", "equalise_requests", "cuts"):
        if name in told:
            told[name] = [at for at in told[name] if at < MOST_ROWS]
    if isinstance(told.get("expected"), dict) and "rows" in told["expected"]:
        told["expected"]["rows"] = told["expected"]["rows"][:MOST_ROWS]
    return orjson.dumps(told, option=orjson.OPT_INDENT_2)


def vectors() -> Seeds:
    """Three vectors for controllers."""
    names = ("hold/sag-runs-on", "full/confirmation-broken", "equalise/asked-twice")
    found = [VECTORS / f"{name}.json" for name in names if (VECTORS / f"{name}.json").exists()]
    return tuple(map(_shortened, found))


def charger_vectors() -> Seeds:
    """Three vectors for chargers."""
    return tuple(map(_shortened, sorted((VECTORS / "charger").rglob("*.json"))[::12][:3]))


def traces() -> Seeds:
    """Traces as CSV and as JSON."""
    json_text = b'{"columns": ["t", "v", "i"], "rows": [[0, 54.3, 1], [1, 55.9, 1], [2, null, 1]]}'
    return TRACE, TRACE.replace(b",", b";"), json_text


def charger_traces() -> Seeds:
    """The first rows of shipped traces for chargers."""
    found = sorted(
        path
        for path in (VECTORS / "charger").rglob("*.csv")
        if not path.name.endswith(".expected.csv")
    )
    return tuple(b"\n".join(path.read_bytes().split(b"\n")[:MOST_ROWS]) for path in found[::20][:3])


def scenarios() -> Seeds:
    """Scenarios of one pack and of several."""
    folder = ROOT / "harness/world/scenarios"
    names = ("thin-cable", "one-pack-fuller", "meters-drift-over-a-year", "flooded-year")
    return tuple((folder / f"{name}.toml").read_bytes() for name in names)


def studies() -> Seeds:
    """A small study, and a shipped one."""
    return STUDY, (ROOT / "harness/study/studies/lead-or-every.toml").read_bytes()


@cache
def results() -> Seeds:
    """Results of a controller that breaks a requirement, and of a charger that does."""
    from harness.report.store import to_json
    from tests.report.made import cases, result_of
    from tests.report.made_charger import deaf_result

    found = [result_of("ref:hold_only", cases("full/confirmation-broken")), deaf_result()]
    return tuple(to_json(_smaller(result)).encode() for result in found)


def _smaller(result: Result) -> Result:
    """Few excerpts: their columns are the greater part of a result."""
    return evolve(result, excerpts=result.excerpts[:1])


@cache
def parquet_logs() -> Seeds:
    """The log in our own names as Parquet; none where pyarrow is missing."""
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError:
        return ()
    table = pa.table(
        {
            "t": [0.0, 1.0, 2.0],
            "v": [53.0, 53.1, None],
            "i": [20, 20, 21],
            "stage": ["bulk", "bulk", "absorption"],
        }
    )
    written = io.BytesIO()
    parquet.write_table(table, written)
    return (written.getvalue(),)
