"""Logs made of the answers to a trace: whole, cut, thinned, rounded, as a logger would have them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from attrs import evolve

from harness.logs.log import Indices, Log, PackLog
from harness.run import Answers, Case, Floats

DECIMALS = {"v": 2, "i": 1, "cell_max_v": 3, "temp_c": 1, "temp_max_c": 1, "soc": 3}


def log_of(case: Case, said: Answers, *, complete: bool = True, from_power_up: bool = False) -> Log:
    """Every sample of a case and every answer, as the log of one pack."""
    pack = PackLog(
        name="pack",
        file=Path("pack.csv"),
        trace=case.trace,
        stage=said.stage,
        soc=said.soc,
        full_reset=said.full_reset,
        voltage_request_v=said.voltage_request_v,
        current_request_a=said.current_request_a,
        restarts=tuple(k for k in case.power_cycles if k > 0),
    )
    return Log(
        Path("pack.csv"), (pack,), complete=complete, exact=complete, from_power_up=from_power_up
    )


def rows_of(log: Log, rows: Indices, *, complete: bool | None = None) -> Log:
    """Some rows of a log of one pack, in their order."""
    (pack,) = log.packs
    whole = log.complete if complete is None else complete
    return evolve(log, packs=(pack.taken(rows),), complete=whole)


def rounded(log: Log) -> Log:
    """A log with the few decimals that a display has."""
    (pack,) = log.packs

    def short(name: str, values: Floats | None) -> Floats | None:
        return None if values is None or name not in DECIMALS else np.round(values, DECIMALS[name])

    names = [name for name in pack.trace.columns if name != "t"]
    readings: dict[str, Any] = {name: short(name, pack.trace.column(name)) for name in names}
    trace = evolve(pack.trace, **readings)
    return evolve(log, packs=(evolve(pack, trace=trace, soc=short("soc", pack.soc)),), exact=False)


def without(log: Log, *names: str) -> Log:
    """A log that lacks some columns."""
    (pack,) = log.packs
    readings: dict[str, Any] = {
        name: None for name in names if name in ("cell_max_v", "temp_c", "temp_max_c")
    }
    answers: dict[str, Any] = {name: None for name in names if name not in readings}
    return evolve(log, packs=(evolve(pack, trace=evolve(pack.trace, **readings), **answers),))
