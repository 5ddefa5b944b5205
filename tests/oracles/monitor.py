"""An independent monitor: the formulas of `tests.oracles.formulas`, run by the package `rtamt`.

The package knows nothing of charge control. `broken_at` says where runs break the formulas,
`confirmed` whether a single finding of the judge stands.

What the library does not do by itself:

- Its discrete mode counts samples and ignores stamps. So only evenly spaced traces have a say, with
  timers that are whole numbers of intervals, every sample valid and no loss of power.
- `historically[a:b]` is true where there is no such history. Every trace stands behind an edge: one
  sample at which no stage is reported and every reading is far too low. Each history is asked of a
  stage together with a reading, so none reaches over an edge; many runs can stand behind one another
  in one signal, and the slow parser runs once a formula.
- At a robustness of 0 it cannot tell `>=` from `>`. Truth is coded as plus or minus 1000, and readings
  are lifted by a hair: what stands on a threshold is at it or above, as the rules have it. A reading
  less than two hairs under a threshold could go either way; then there is no answer.
"""

from __future__ import annotations

import gc
import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any

import numpy as np
import pytest

from harness.run import Case, Floats, Run
from tests.oracles.formulas import HAIR_A, HAIR_V, NEAR_CELL_V, STAGES, UNEVEN_S, formulas

with warnings.catch_warnings():
    # Its parser is older than Python 3.12, where it cannot be imported any more.
    warnings.simplefilter("ignore", DeprecationWarning)
    rtamt = pytest.importorskip("rtamt", exc_type=ImportError)

Signals = dict[str, list[float]]

TRUE, FALSE = 1000.0, -1000.0
HAIR_SOC = 2e-15


def joined(runs: Sequence[Run]) -> Signals:
    """Runs behind one another, an edge before each of them."""
    signals: Signals = {name: [] for name in ("edge", "v", "i", "soc", "reset", *STAGES)}

    def add(name: str, at_edge: float, values: Floats) -> None:
        signals[name] += [at_edge, *values.tolist()]

    for run in runs:
        answers, trace = run.answers, run.case.trace
        size = len(trace)
        add("edge", TRUE, np.full(size, FALSE))
        add("v", FALSE, trace.v + HAIR_V)
        add("i", FALSE, trace.i)
        soc = np.zeros(size) if answers.soc is None else answers.soc
        add("soc", TRUE, soc + HAIR_SOC)
        reset = np.zeros(size, bool) if answers.full_reset is None else answers.full_reset
        add("reset", FALSE, np.where(reset, TRUE, FALSE))
        for name, stage in STAGES.items():
            add(name, FALSE, np.where(answers.stage == stage, TRUE, FALSE))
    return signals


@cache
def _parsed(formula: str, names: tuple[str, ...]) -> Any:
    specification = rtamt.StlDiscreteTimeSpecification()
    for name in names:
        specification.declare_var(name, "float")
    specification.spec = formula
    specification.parse()
    return specification


@contextmanager
def _uncollected() -> Iterator[None]:
    """The monitor answers with a list a sample; the collector would look at all of them many times."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def robustness(formula: str, signals: Mapping[str, list[float]]) -> list[float]:
    """What the monitor says at each sample: above 0 where the formula holds, below where not."""
    size = len(next(iter(signals.values())))
    specification = _parsed(formula, tuple(signals))
    with _uncollected():
        said = specification.evaluate({"time": range(size), **signals})
        values = [value for _, value in said]
    if len(values) != size or 0.0 in values:
        raise AssertionError(f"the monitor does not decide at every sample: {formula}")
    return values


def broken_at(
    runs: Sequence[Run], interval_s: float = 1.0, requirement: str = ""
) -> dict[str, list[int]]:
    """Where each run first breaks each requirement; -1 where it does not.

    Args:
        runs: of cases with the same settings, evenly spaced.
        interval_s: their sampling interval, s.
        requirement: the only one that is asked about; empty for all.
    """
    named, found = formulas(runs[0].case.settings, interval_s)
    signals = joined(runs)
    for name, formula in named.items():
        signals[name] = robustness(formula, signals)
    edges = np.cumsum([0, *(len(run.case.trace) + 1 for run in runs)])
    result = {}
    for names, formula in found.items():
        if requirement and requirement not in names.split(" or "):
            continue
        hits = np.flatnonzero(np.array(robustness(formula, signals)) > 0.0)
        first = np.searchsorted(hits, edges)
        result[names] = [
            int(hits[low] - edge - 1) if low < high else -1
            for low, high, edge in zip(first[:-1], first[1:], edges[:-1], strict=True)
        ]
    return result


def interval_of(case: Case) -> float | None:
    """The sampling interval of a trace that the monitor can follow, s; None where it cannot."""
    s, trace = case.settings, case.trace
    apart_s = np.diff(trace.t)
    if len(apart_s) == 0 or any(case.power_cycles) or not np.isfinite(trace.t).all():
        return None
    interval_s = float(apart_s[0])
    if not 0.0 < interval_s <= s.max_gap_s or np.abs(apart_s - interval_s).max() > UNEVEN_S:
        return None
    low_v, high_v = s.plausible_v
    low_a, high_a = s.plausible_i
    inside = (trace.v >= low_v) & (trace.v <= high_v) & (trace.i >= low_a) & (trace.i <= high_a)
    shifted = s.compensation_v_per_c != 0.0 and trace.temp_c is not None
    return interval_s if inside.all() and not shifted else None


def on_a_hair(run: Run) -> bool:
    """Whether a reading stands so near to a threshold that lifting it could change an answer."""
    s, trace, soc = run.case.settings, run.case.trace, run.answers.soc
    levels = (s.entry_v, s.full_v, s.entry_v if s.sag_v is None else s.sag_v, s.return_v)
    doubtful = any(
        ((trace.v < level_v) & (trace.v > level_v - 2.0 * HAIR_V)).any()
        for level_v in (*levels, s.return_v + NEAR_CELL_V * s.cells)
    )
    if s.taper_a is not None:
        beyond_a = np.abs(trace.i) - s.taper_a
        doubtful |= bool(((beyond_a > 0.0) & (beyond_a < 2.0 * HAIR_A)).any())
    if s.return_soc is not None and soc is not None:
        short = s.return_soc - soc
        doubtful |= bool(((short > 0.0) & (short < 2.0 * HAIR_SOC)).any())
    return bool(doubtful)


def confirmed(case: Case, run: Run, requirement: str) -> bool | None:
    """Whether the monitor, too, finds that a run breaks a requirement.

    Where the logic cannot tell several requirements apart, this one is confirmed when one of them
    is broken.

    Args:
        case: what was tried; its settings are those that count.
        run: what a controller answered to its trace.
        requirement: id of the requirement.

    Returns:
        None where the monitor has nothing to say: the trace is not evenly spaced, a timer is no whole
        number of intervals, samples are invalid, or the rule is beyond past-time logic.
    """
    interval_s = interval_of(case)
    if interval_s is None or on_a_hair(run):
        return None
    same = Run(case, run.identity, run.answers)
    said = [at[0] >= 0 for at in broken_at([same], interval_s, requirement).values()]
    return any(said) if said else None
