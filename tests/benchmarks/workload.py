"""What is measured: a year of samples, a part of it as Python objects, and the contenders.

Every contender is a function without arguments that does the whole of its work and returns what
shows that it did. Nothing here measures.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from functools import cache
from math import nan
from typing import Any

import numba
import numpy as np
import numpy.typing as npt

from ctrl.compiled import Answers, Replay, replay, replay_many
from ctrl.controller import Output, start, step
from ctrl.settings import Settings
from ctrl.state import Sample
from harness import run as travelling
from harness.judge import judge
from harness.run import FEATURES, Case, Identity, Run, Trace
from harness.verdict import CaseVerdict
from tests.benchmarks.library_machine import library_answers
from tests.benchmarks.plain_machine import Answer, Row, plain_answers

Floats = npt.NDArray[np.float64]

YEAR_S = 365 * 86_400
TRACES = 1_000
PART = 100_000
SETTINGS = Settings()


def _signals(seconds: int) -> tuple[Floats, Floats, Floats]:
    t = np.arange(float(seconds))
    v = 54.0 + 2.0 * np.sin(t * (2.0 * np.pi * 4.0 / 86_400.0))
    i = 30.0 * np.cos(t / 20_000.0)
    return t, v, i


@cache
def year() -> tuple[Floats, Floats, Floats]:
    """Time, voltage and current once a second: a pack that is charged and drained four times a day."""
    return _signals(YEAR_S)


@cache
def traces() -> tuple[Floats, Floats, Floats]:
    """The same year as a thousand traces of nine hours each."""
    t, v, i = (column.reshape(TRACES, YEAR_S // TRACES) for column in year())
    return t, v, i


@cache
def part_rows() -> list[Row]:
    """The first day and some hours, as rows of plain numbers."""
    t, v, i = (column.tolist() for column in _signals(PART))
    return [(*row, nan, nan, nan) for row in zip(t, v, i, strict=True)]


@cache
def part_samples() -> list[Sample]:
    """The same as samples of the reference."""
    return [Sample(*row) for row in part_rows()]


@numba.njit(fastmath=True, nogil=True)
def _read(t: Floats, v: Floats, i: Floats) -> float:
    total_t, total_v, total_i = 0.0, 0.0, 0.0
    for k in range(len(t)):
        total_t += t[k]
        total_v += v[k]
        total_i += i[k]
    return total_t + total_v + total_i


def read_year() -> float:
    """The limit of everything: each of the three arrays is read once, on one core."""
    return float(_read(*year()))


_kept: dict[str, Any] = {}


def replay_year() -> Replay:
    """Stages, counts and events of the year, into arrays that are there already."""
    _kept["year"] = replay(SETTINGS, start(0.5), *year(), requests=False, into=_kept.get("year"))
    answer: Replay = _kept["year"]
    return answer


def replay_traces() -> Answers:
    """The thousand traces on all cores, into arrays that are there already."""
    _kept["traces"] = replay_many(SETTINGS, start(0.5), *traces(), into=_kept.get("traces"))
    answers: Answers = _kept["traces"]
    return answers


def reference_outputs() -> Iterator[Output]:
    """The readable reference, sample by sample."""
    state = start(0.5)
    for sample in part_samples():
        state, output = step(SETTINGS, state, sample)
        yield output


def last_of(answers: Iterator[Any]) -> Any:
    """Let them all come, and keep the last."""
    return deque(answers, maxlen=1)[0]


def by_reference() -> Output:
    """The last answer of the reference to the part."""
    output: Output = last_of(reference_outputs())
    return output


def by_plain_python() -> Answer:
    """The last answer of plain Python to the part."""
    answer: Answer = last_of(plain_answers(SETTINGS, 0.5, part_rows()))
    return answer


def by_library() -> Answer:
    """The last answer of the state-machine library to the part."""
    answer: Answer = last_of(library_answers(SETTINGS, 0.5, part_rows()))
    return answer


def replay_part() -> Replay:
    """The compiled rules over the part alone."""
    return replay(SETTINGS, start(0.5), *_signals(PART))


@cache
def year_run() -> Run:
    """The reference's answers to the year, as a run that can be judged."""
    said = replay(SETTINGS, start(0.5), *year())
    answers = travelling.Answers(
        said.stage,
        said.soc,
        said.full_reset,
        said.voltage_request_v,
        said.current_request_a,
    )
    identity = Identity("reference", "1", "Python", frozenset(FEATURES))
    return Run(Case("a-year", SETTINGS, Trace(*year())), identity, answers)


def read_run() -> float:
    """What judging cannot do without: each array of the run is read once, on one core."""
    answers: Any = year_run().answers
    total = _read(answers.soc, answers.voltage_request_v, answers.current_request_a)
    return float(read_year() + total + answers.stage.max() + answers.full_reset.max())


def judge_year() -> CaseVerdict:
    """Every requirement, asked of the run of a year."""
    return judge(year_run())


CONTENDERS: dict[str, Callable[[], object]] = {
    "year: read": read_year,
    "year: replay": replay_year,
    "year: replay of 1,000 traces": replay_traces,
    "year: read of the run": read_run,
    "year: judge": judge_year,
    "part: compiled": replay_part,
    "part: reference": by_reference,
    "part: plain Python": by_plain_python,
    "part: library": by_library,
}
