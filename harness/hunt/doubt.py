"""Whether a new find is what it looks like, or comes of what ran before, or of how it was cut.

A controller whose state survives a start, or a message, breaks any requirement there is. So before
a find counts, its trace runs again on a fresh program, and again in one piece.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from attrs import evolve, fields

from harness.attach.base import Attached
from harness.hunt.failure import Failure, Key
from harness.hunt.trial import Trial, judged, tried
from harness.rules.link import CUTS, FRESH
from harness.run import Finding


def examined(
    attachment: Attached,
    trial: Trial,
    number: int,
    new: Mapping[Key, Finding],
    latest: Any,
    tolerance_s: float,
) -> list[Failure]:
    """The failures that a trial really shows.

    Args:
        attachment: the controller.
        trial: what came of a trace.
        number: its number in the sweep.
        new: what was found in it, by kind.
        latest: the trace that ran before it; None where none did.
        tolerance_s: declared tolerance of the controller's clock, s.
    """
    alone = tried(attachment, trial.case, afresh=True)
    if not _same(trial, alone):
        return _carried_over(attachment, trial, alone, number, new, latest, tolerance_s)
    if not trial.case.cuts or trial.run is None:
        return [Failure(key, finding, number, trial.case) for key, finding in new.items()]
    whole = tried(attachment, evolve(trial.case, cuts=()), afresh=True)
    in_whole = judged(whole, tolerance_s).found
    failures = []
    for key in new:
        if key in in_whole:
            failures.append(Failure(key, in_whole[key], number, whole.case))
        elif (finding := cut_finding(trial, whole)) is not None:
            failures.append(Failure(Key(CUTS, ""), finding, number, trial.case))
        else:
            failures.append(Failure(key, new[key], number, trial.case))
    return failures


def cut_finding(trial: Trial, whole: Trial) -> Finding | None:
    """What is wrong where a trace, cut into messages, is answered as it is not in one piece."""
    if _same(trial, whole):
        return None
    return _differs(trial, whole, CUTS, "cut into messages of a few samples")


def _carried_over(
    attachment: Attached,
    trial: Trial,
    alone: Trial,
    number: int,
    new: Mapping[Key, Finding],
    latest: Any,
    tolerance_s: float,
) -> list[Failure]:
    """The trace is answered in another way when nothing ran before it, or at every turn."""
    steady = _same(alone, tried(attachment, trial.case, afresh=True))
    in_alone = judged(alone, tolerance_s).found if steady else {}
    before = number
    if latest is not None and steady:
        tried(attachment, latest.case, afresh=True)
        before = 1 if _same(trial, tried(attachment, trial.case)) else number
    failures = []
    for key, finding in new.items():
        if key in in_alone:
            failures.append(Failure(key, in_alone[key], number, trial.case))
        elif trial.run is None:
            failures.append(Failure(key, finding, number, trial.case, before=before))
        else:
            differs = _differs(trial, alone, FRESH, "run after others")
            failures.append(Failure(Key(FRESH, ""), differs, number, trial.case, before=before))
    return failures


def _same(one: Trial, other: Trial) -> bool:
    """Whether two trials of the same samples were answered alike."""
    if one.answers is None or other.answers is None:
        return one.answers is other.answers and _requirement(one) == _requirement(other)
    return first_difference(one.answers, other.answers) is None


def _requirement(trial: Trial) -> str:
    return "" if trial.fault is None else trial.fault.requirement


def first_difference(one: Any, other: Any) -> tuple[int, str, Any, Any] | None:
    """The first row in which two answers to the same samples differ, and how; None for nowhere."""
    found = []
    for name in (field.name for field in fields(type(one))):
        a, b = getattr(one, name), getattr(other, name)
        if a is None or b is None:
            continue
        rows = np.flatnonzero(a != b)
        if len(rows):
            k = int(rows[0])
            found.append((k, name, a[k], b[k]))
    return min(found, key=lambda row: row[0]) if found else None


def _differs(trial: Trial, other: Trial, requirement: str, how: str) -> Finding:
    """A finding that the same trace was answered in two ways."""
    if trial.answers is None or other.answers is None:
        fault = other.fault
        assert fault is not None
        return evolve(fault, requirement=requirement)
    difference = first_difference(trial.answers, other.answers)
    assert difference is not None
    k, column, *values = difference
    one, two = (trial.role.worded(column, value) for value in values)
    return Finding(
        requirement=requirement,
        case=trial.case.id,
        t=float(trial.case.trace.t[k]),
        index=k,
        observed=f"{column} {one}",
        expected=f"{column} {two}",
        margin=0.0,
        unit="",
        sentence=f"The same trace, {how}, was answered differently: {column} {one}, not {two}.",
    )
