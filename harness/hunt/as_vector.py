"""A shortened failure as a vector: what `replay` and any other controller can be tried with."""

from __future__ import annotations

from math import isfinite

import numpy as np

from ctrl.controller import Controller
from ctrl.state import Sample
from ctrl.vocabulary import Stage
from harness.cases.vector import FORMAT, Vector
from harness.errors import InputError
from harness.hunt.compare import reference_run
from harness.hunt.failure import Failure
from harness.rules import requirement
from harness.run import (
    FEATURES,
    OPTIONAL_COLUMNS,
    REQUIRED_COLUMNS,
    Case,
    Expected,
    Finding,
    Trace,
    needed_features,
)

GROUP = "hunt"
# What a cause, or an event, of the reference needs a controller to have.
_NEEDED = {
    "low_voltage": "return_voltage",
    "low_soc": "return_soc",
    "float_timer": "float_timer",
    "cell_voltage": "cell_protection",
    "temperature": "temperature_protection",
    "empty_reset": "empty_reset",
}
# The least that a count may be off, beside what the rules leave open.
COUNT_TOLERANCE = 1e-6


def as_vector(failure: Failure, case: Case, finding: Finding, *, number: int = 1) -> Vector:
    """A failing case as a vector that expects what the reference does.

    Args:
        failure: what it comes from.
        case: the shortened case.
        finding: how it fails.
        number: which of several ways of breaking the same requirement; part of the id from 2 on.

    Raises:
        InputError: the first stamp is missing, so that no expectation can name it.
    """
    if not isfinite(case.trace.t[0]):
        raise InputError(
            f"the trace that breaks {failure.key.requirement} begins without a stamp",
            hint="a vector has to name the stage at its first stamp",
        )
    asked = requirement(failure.key.requirement)
    return Vector(
        format=FORMAT,
        id=f"{GROUP}/{slug(failure, number)}",
        title=f"found by a hunt: {asked.title}",
        description=f"{finding.sentence} Found in {failure.case.id if failure.case else case.id} and "
        f"shortened to {len(case.trace)} samples; what is expected is what the reference does.",
        why=asked.reason,
        requirements=(asked.id,),
        negative=(),
        features=features_of(case, asked.features),
        tags=("boundary", *(("backward",) if _steps_back(case.trace) else ())),
        source="reference",
        catches=(finding.sentence,),
        settings=case.settings,
        soc=case.soc,
        power_cycles=case.power_cycles,
        equalise_requests=case.equalise_requests,
        cuts=case.cuts,
        expected=expectation(case),
        trace=case.trace,
    )


def slug(failure: Failure, number: int = 1) -> str:
    """The name of a failure in small letters, digits and hyphens: `hold-full-length`."""
    name = failure.key.requirement.lower().replace(".", "-")
    return name if number == 1 else f"{name}-{number}"


def expectation(case: Case) -> Expected:
    """What the reference does with a case: its stages, its full resets, and its last count."""
    said, t = reference_run(case).answers, case.trace.t
    assert said.full_reset is not None
    assert said.soc is not None
    rows = [0, *(np.flatnonzero(said.stage[1:] != said.stage[:-1]) + 1).tolist()]
    last = int(np.flatnonzero(np.isfinite(t))[-1])
    return Expected(
        stages=tuple((float(t[k]), Stage(said.stage[k]).word) for k in rows),
        resets=tuple(float(stamp) for stamp in t[said.full_reset]),
        soc=((float(t[last]), float(said.soc[last]), count_tolerance(case)),),
    )


def count_tolerance(case: Case) -> float:
    """How far apart any two rules of counting may be after a case, between the rectangle sums."""
    t, i = case.trace.t, case.trace.i
    valid = np.isfinite(t) & np.isfinite(i)
    charge_as = np.abs(np.diff(t[valid])) * np.abs(np.diff(i[valid]))
    return COUNT_TOLERANCE + float(np.sum(charge_as)) / (3600.0 * case.settings.capacity_ah)


def features_of(case: Case, asked: frozenset[str] = frozenset()) -> tuple[str, ...]:
    """What a controller must have to answer a case as the reference does, in the order of `FEATURES`.

    Args:
        case: the case.
        asked: what it needs besides.
    """
    needed = needed_features(case.settings) | asked
    if case.power_cycles:
        needed.add("power_cycle")
    if case.equalise_requests:
        needed.add("equalisation")
    needed |= {_NEEDED[word] for word in _words(case) if word in _NEEDED}
    return tuple(name for name in FEATURES if name in needed)


def _words(case: Case) -> set[str]:
    """The events of the reference, and their causes."""
    controller = Controller(case.settings, soc=case.soc)
    columns = [
        case.trace.column(name).tolist()
        if name in case.trace.columns
        else [float("nan")] * len(case.trace)
        for name in REQUIRED_COLUMNS + OPTIONAL_COLUMNS
    ]
    words: set[str] = set()
    for k, row in enumerate(zip(*columns, strict=True)):
        if k in case.power_cycles:
            controller.power_cycle()
        if k in case.equalise_requests:
            controller.request_equalisation()
        for event in controller.step(Sample(*row)).events:
            words |= {event.name, event.cause}
    return words


def _steps_back(trace: Trace) -> bool:
    stamps = trace.t[np.isfinite(trace.t)]
    return bool(np.any(np.diff(stamps) < 0))
