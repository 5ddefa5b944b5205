"""The judge's verdicts on dwells and timers, against an independent monitor of temporal logic.

800 traces one second apart, answered by the reference and by controllers whose dwells, timers or
thresholds are wrong. `harness.judge` says which groups of requirements each run breaks; so does the
package `rtamt`, which knows nothing of charge control, from formulas of past-time logic. They agree
on every run.

The judge lets a timer be off by one sampling interval. So the formulas do: a dwell of d seconds must
have held for d - 1, and what is due after d must have happened by d + 1.

All traces stand behind one another in one signal, because the monitor is slow to begin. Between two of
them nothing is true, so that no history reaches from one into the next; for the same reason
`historically` is never vacuously true at the beginning of a trace. Truth is coded as +1 and -1, and
voltages keep off the thresholds: at a robustness of exactly 0 the monitor cannot tell yes from no.
"""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pytest
from attrs import frozen

from ctrl.compiled import replay
from ctrl.controller import start
from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.judge import judge
from harness.run import Answers, Case, Floats, Identity, Run, Trace

with warnings.catch_warnings():
    # Its parser is older than Python 3.12, where it cannot be imported any more.
    warnings.simplefilter("ignore", DeprecationWarning)
    rtamt = pytest.importorskip("rtamt", exc_type=ImportError)

TRACES = 800
ENTRY_S, HOLD_S, CONFIRM_S, WAIT_S, RETURN_S = 4, 9, 4, 8, 5
RIGHT: dict[str, Any] = {
    "entry_dwell_s": ENTRY_S,
    "hold_s": HOLD_S,
    "confirm_s": CONFIRM_S,
    "on_unconfirmed": "wait",
    "wait_limit_s": WAIT_S,
    "return_dwell_s": RETURN_S,
    "return_soc": None,
    "empty_v": None,
}
# The same controller with one thing wrong, by more than the tolerance; the right one comes most often.
WRONG: tuple[dict[str, Any], ...] = (
    *[{}] * 4,
    {"entry_dwell_s": ENTRY_S - 2},
    {"entry_dwell_s": ENTRY_S + 2},
    {"entry_v": 55.78},
    {"entry_v": 55.82},
    {"hold_s": HOLD_S - 7},
    {"hold_s": HOLD_S - 3},
    {"hold_s": HOLD_S + 3},
    {"confirm_s": CONFIRM_S - 2},
    {"confirm_s": CONFIRM_S + 2},
    {"full_v": 55.58},
    {"full_v": 55.62},
    {"wait_limit_s": WAIT_S - 2},
    {"wait_limit_s": WAIT_S + 3},
    {"on_unconfirmed": "bulk"},
    {"on_unconfirmed": "float"},
    {"return_dwell_s": RETURN_S - 2},
    {"return_dwell_s": RETURN_S + 2},
    {"return_v": 52.98},
    {"return_v": 53.02},
)
# Beside entry_v 55.8 V, full_v 55.6 V and return_v 53 V.
LEVELS_V = (56.0, 56.0, 56.0, 55.81, 55.79, 55.61, 55.59, 54.0, 53.01, 52.99, 50.0)
LENGTHS = (
    1,
    2,
    ENTRY_S,
    ENTRY_S + 1,
    RETURN_S + 2,
    HOLD_S,
    HOLD_S + CONFIRM_S,
    HOLD_S + WAIT_S + 4,
)
FEATURES = frozenset({"full_reset", "return_voltage", "confirm", "wait"})


@frozen(eq=False)
class Record:
    """One run, and what the judge says of it.

    Attributes:
        v: voltages, one a second, V.
        stage: stages as answered.
        reset: where there was a full reset.
        broken: groups of requirements that the judge found broken.
    """

    v: Floats
    stage: Any
    reset: Any
    broken: frozenset[str]


GROUPS = {"ENTRY": "entry", "HOLD": "hold", "FULL": "hold", "FLOAT": "return", "RETURN": "return"}


def record(rng: np.random.Generator, number: int) -> Record:
    pieces = [
        np.full(rng.choice(LENGTHS), rng.choice(LEVELS_V)) for _ in range(int(rng.integers(3, 9)))
    ]
    v = np.concatenate([np.full(ENTRY_S + 1, 56.0), *pieces] if rng.random() < 0.6 else pieces)
    right = Settings.from_mapping(RIGHT)
    other = Settings.from_mapping(RIGHT | WRONG[number % len(WRONG)])
    t, i = np.arange(len(v), dtype=float), np.zeros(len(v))
    said = replay(other, start(0.5), t, v, i)
    answers = Answers(said.stage, full_reset=said.full_reset)
    identity = Identity("any", "1", "Python", FEATURES)
    verdict = judge(Run(Case(f"run-{number}", right, Trace(t, v, i)), identity, answers))
    groups = {GROUPS[finding.requirement.partition(".")[0]] for finding in verdict.findings}
    return Record(v, said.stage, said.full_reset, frozenset(groups))


def lasting(condition: str, seconds: int) -> str:
    """The condition has held for so many seconds up to now."""
    return f"historically[0:{seconds}]({condition})"


def before(condition: str, seconds: int) -> str:
    """The condition held at every one of the seconds before this one."""
    return f"historically[1:{seconds}]({condition})"


ENTERS = "((absorption > 0) and once[1:1](bulk > 0))"
RETURNS = "((bulk > 0) and once[1:1](floating > 0))"
LEAVES = "((absorption < 0) and here > 0 and once[1:1](absorption > 0))"
TO_BULK = "((bulk > 0) and once[1:1](absorption > 0))"
HIGH, FULL, LOW = "v >= 55.8", "v >= 55.6", "v < 53.0"

FORMULAS = {
    "entry": (
        f"{ENTERS} implies ({lasting(HIGH, ENTRY_S - 1)} and {before('bulk > 0', ENTRY_S - 1)})",
        f"not ({lasting(HIGH, ENTRY_S + 1)} and {lasting('bulk > 0', ENTRY_S + 1)})",
    ),
    "hold": (
        f"{LEAVES} implies {before('absorption > 0', HOLD_S - 1)}",
        f"not {TO_BULK}",
        f"(reset > 0) implies ({lasting(FULL, CONFIRM_S - 1)}"
        f" and {before('absorption > 0', HOLD_S + CONFIRM_S - 2)})",
        f"({LEAVES} and reset < 0) implies {before('absorption > 0', HOLD_S + WAIT_S - 2)}",
        f"({LEAVES} and reset < 0) implies not ({lasting(FULL, CONFIRM_S + 1)}"
        f" and {before('absorption > 0', HOLD_S + CONFIRM_S + 2)})",
        f"not ({lasting(FULL, CONFIRM_S + 1)} and"
        f" {lasting('absorption > 0', HOLD_S + CONFIRM_S + 2)})",
        f"not {lasting('absorption > 0', HOLD_S + WAIT_S + 2)}",
    ),
    "return": (
        f"{RETURNS} implies ({lasting(LOW, RETURN_S - 1)} and {before('floating > 0', RETURN_S - 1)})",
        f"not ({lasting(LOW, RETURN_S + 1)} and {lasting('floating > 0', RETURN_S + 1)})",
    ),
}


@pytest.fixture(scope="module")
def records() -> list[Record]:
    rng = np.random.default_rng(2026)
    return [record(rng, number) for number in range(TRACES)]


@pytest.fixture(scope="module")
def signals(records: list[Record]) -> dict[str, list[float]]:
    """All runs behind one another, with one sample between them at which nothing is true."""
    stages = {
        "bulk": Stage.BULK,
        "absorption": Stage.ABSORPTION,
        "floating": Stage.FLOAT,
    }
    joined: dict[str, list[float]] = {name: [] for name in ("v", "here", "reset", *stages)}
    for each in records:
        size = len(each.v)
        # A voltage that is neither high nor low.
        joined["v"] += [54.0, *each.v.tolist()]
        joined["here"] += [-1.0] + [1.0] * size
        joined["reset"] += [-1.0, *np.where(each.reset, 1.0, -1.0).tolist()]
        for name, stage in stages.items():
            joined[name] += [-1.0, *np.where(each.stage == stage, 1.0, -1.0).tolist()]
    return joined


def broken_at(signals: dict[str, list[float]], formula: str) -> list[int]:
    """The samples at which the monitor says that the formula does not hold."""
    monitor = rtamt.StlDiscreteTimeSpecification()
    for name in signals:
        monitor.declare_var(name, "float")
    monitor.spec = formula
    monitor.parse()
    size = len(signals["v"])
    robustness = monitor.evaluate({"time": list(range(size)), **signals})
    assert len(robustness) == size
    return [int(t) for t, value in robustness if value < 0.0]


@pytest.mark.parametrize("group", FORMULAS)
def test_judge_and_monitor_agree_on_every_run(
    group: str, records: list[Record], signals: dict[str, list[float]]
) -> None:
    sizes = np.array([len(each.v) + 1 for each in records])
    ends = np.cumsum(sizes)
    by_monitor: set[int] = set()
    for formula in FORMULAS[group]:
        found = set(np.searchsorted(ends, broken_at(signals, formula), side="right").tolist())
        # Each formula says no to some of the runs, and not to all of them.
        assert 5 <= len(found) <= TRACES / 2, formula
        by_monitor |= found
    by_judge = {number for number, each in enumerate(records) if group in each.broken}
    assert by_judge == by_monitor


def test_many_of_the_runs_break_something(records: list[Record]) -> None:
    assert sum(bool(each.broken) for each in records) > TRACES / 5
