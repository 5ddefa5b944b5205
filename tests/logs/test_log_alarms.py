"""Whatever a log left out or rounded away, it does not accuse a controller that keeps the rules.

The traces hang every decision on a hair; the answers are the reference's.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import islice

import numpy as np
import pytest
from attrs import evolve

from harness.logs.judged import judge_log
from harness.logs.log import Log
from harness.strategies.sweep import sweep
from tests.logs.recorded import log_of, rounded, rows_of, without

TRACES = 24
Rng = np.random.Generator


def _from_anywhere(log: Log, rng: Rng) -> Log:
    rows = len(log.packs[0])
    return rows_of(log, np.arange(rng.integers(0, max(1, rows - 2)), rows))


def _thinned(log: Log, rng: Rng) -> Log:
    rows, every = len(log.packs[0]), int(rng.integers(2, 8))
    return _sparse(log, np.arange(rng.integers(0, every), rows, every))


def _with_lost_rows(log: Log, rng: Rng) -> Log:
    kept = np.flatnonzero(rng.random(len(log.packs[0])) < rng.uniform(0.2, 0.9))
    return _sparse(log, kept if len(kept) else np.arange(1))


def _with_a_gap(log: Log, rng: Rng) -> Log:
    rows = np.arange(len(log.packs[0]))
    first, behind = sorted(rng.integers(1, len(rows), 2).tolist())
    return _sparse(log, rows[(rows < first) | (rows >= behind)])


def _sparse(log: Log, rows: np.ndarray) -> Log:
    return evolve(rows_of(log, rows, complete=False), exact=False)


KINDS: dict[str, Callable[[Log, Rng], Log]] = {
    "whole": lambda log, _: evolve(log, from_power_up=True),
    "whole and rounded": lambda log, _: rounded(evolve(log, from_power_up=True)),
    "from anywhere": _from_anywhere,
    "from anywhere and rounded": lambda log, rng: rounded(_from_anywhere(log, rng)),
    "without cells": lambda log, rng: without(_from_anywhere(log, rng), "cell_max_v"),
    "without a count": lambda log, rng: without(_from_anywhere(log, rng), "soc", "full_reset"),
    "without temperatures": lambda log, rng: without(
        _from_anywhere(log, rng), "temp_c", "temp_max_c"
    ),
    "maybe not every sample": lambda log, _: evolve(log, complete=False, exact=False),
    "thinned": _thinned,
    "thinned and rounded": lambda log, rng: rounded(_thinned(log, rng)),
    "with lost rows": _with_lost_rows,
    "with a gap": _with_a_gap,
}


@pytest.mark.parametrize("kind", KINDS)
def test_no_log_of_the_reference_shows_a_finding(kind: str) -> None:
    # Every kind has traces of its own.
    number = list(KINDS).index(kind)
    rng = np.random.default_rng(number)
    findings = []
    passed = 0
    for one in islice(sweep(1000 + number), TRACES):
        report = judge_log(KINDS[kind](log_of(one.case, one.said), rng), one.case.settings)
        findings += [(one.case.id, f.requirement, f.index, f.sentence) for f in report.findings]
        passed += sum(result.outcome.value == "pass" for result in report.results)
    assert findings == []
    assert passed > TRACES
