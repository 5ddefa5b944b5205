"""Runs written out by hand: a line of letters for the stages, a list for each reading."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ctrl.settings import Settings
from harness.judge import judge
from harness.run import FEATURES, Answers, Case, Identity, Run, Trace
from harness.verdict import CaseVerdict

LETTERS = {"b": 0, "a": 1, "f": 2, "i": 3, "e": 4}
# Short timers, so that a whole charge fits into a line; 1 s between samples unless said otherwise.
SHORT = {"entry_dwell_s": 2.0, "hold_s": 6.0, "return_dwell_s": 2.0, "return_soc": None}


def written(
    stages: str,
    v: Sequence[float],
    *,
    interval_s: float = 1.0,
    t: Sequence[float] | None = None,
    i: Sequence[float] | None = None,
    soc: Sequence[float] | None = None,
    start_soc: float = 0.5,
    resets: Sequence[int] = (),
    features: frozenset[str] = frozenset(FEATURES),
    power_cycles: tuple[int, ...] = (),
    requests: tuple[int, ...] = (),
    readings: dict[str, Sequence[float]] | None = None,
    asked_v: dict[int, float] | None = None,
    asked_a: dict[int, float] | None = None,
    **changes: Any,
) -> Run:
    """A run whose answers are as written; what is asked for follows the stages but for what is given.

    `requests` are the rows before which somebody asks for an equalisation.
    """
    settings = Settings().changed(**{**SHORT, **changes})
    size = len(stages)
    assert size == len(v)
    stamps = np.array([k * interval_s for k in range(size)] if t is None else t, dtype=float)
    trace = Trace(
        stamps,
        np.array(v, dtype=float),
        np.zeros(size) if i is None else np.array(i, dtype=float),
        **{name: np.array(values, dtype=float) for name, values in (readings or {}).items()},
    )
    stage = np.array([LETTERS[letter] for letter in stages], np.int8)
    flags = np.zeros(size, np.bool_)
    flags[list(resets)] = True
    count = np.full(size, start_soc) if soc is None else np.array(soc, dtype=float)
    if soc is None:
        for row in resets:
            count[row:] = 1.0
    charging_v, float_v = settings.absorption_v, settings.float_v
    by_stage = [charging_v, charging_v, float_v, float_v, settings.equalisation_v or charging_v]
    volts = np.array(by_stage)[stage]
    amps = np.where(stage == 3, 0.0, settings.charge_current_a)
    for row, value in (asked_v or {}).items():
        volts[row] = value
    for row, value in (asked_a or {}).items():
        amps[row] = value
    case = Case(
        "written",
        settings,
        trace,
        soc=start_soc,
        power_cycles=power_cycles,
        equalise_requests=requests,
    )
    identity = Identity("written", "1", "none", features)
    return Run(case, identity, Answers(stage, count, flags, volts, amps))


def verdict(*args: object, **kwargs: object) -> CaseVerdict:
    """The verdict on a run as written."""
    return judge(written(*args, **kwargs))  # type: ignore[arg-type]
