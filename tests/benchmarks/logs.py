"""A recorded log: what reading it costs over pyarrow alone, and how many rows a second are judged."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path
from statistics import median

import numpy as np
import pyarrow as pa
from attrs import evolve
from pyarrow import csv

from ctrl.vocabulary import Stage
from harness.logs import Log, PackLog, read_log
from harness.logs.judged import judge_log
from harness.run import Trace
from tests.benchmarks.link import seconds
from tests.benchmarks.workload import SETTINGS, year_run

MONTH = 30 * 86_400
ROUNDS = 5


def read_over_arrow() -> str:
    """A month of CSV, read as a log : parsed by pyarrow alone."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "month.csv"
        run = year_run()
        trace, answers = run.case.trace, run.answers
        assert answers.soc is not None
        words = np.array([stage.word for stage in Stage])[answers.stage[:MONTH]]
        columns = {"t": trace.t, "v": np.round(trace.v, 3), "i": np.round(trace.i, 2)}
        table = {name: values[:MONTH] for name, values in columns.items()}
        table |= {"soc": np.round(answers.soc[:MONTH], 9), "stage": words}
        csv.write_csv(pa.table(table), file, csv.WriteOptions(quoting_style="none"))
        taken = [
            (seconds(lambda: read_log(file)), seconds(lambda: csv.read_csv(file)))
            for _ in range(ROUNDS)
        ]
    ours, theirs = (median(column) for column in zip(*taken, strict=True))
    return f"{ours / theirs:.3g} times, {MONTH / ours / 1e6:.2g} million rows a second"


@cache
def _year() -> Log:
    run = year_run()
    trace, said = run.case.trace, run.answers
    readings = Trace(trace.t, np.round(trace.v, 3), np.round(trace.i, 2))
    pack = PackLog(
        "year",
        Path("year.csv"),
        readings,
        said.stage,
        said.soc,
        said.full_reset,
        said.voltage_request_v,
        said.current_request_a,
    )
    return Log(Path("year.csv"), (pack,), complete=True, exact=True)


def judged_a_second(*, rounded: bool) -> str:
    """A year of rows, one a second, judged once it is read."""
    log = evolve(_year(), exact=not rounded, complete=not rounded)
    taken = [seconds(lambda: judge_log(log, SETTINGS)) for _ in range(ROUNDS)]
    return f"{len(log.packs[0]) / median(taken) / 1e6:.2g} million rows"
