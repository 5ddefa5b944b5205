"""The role `charger` in a hunt."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from typing import Any

import numpy as np

from ctrl.charger import ChargerSettings, Conduct
from harness.charger.attach import (
    ChargerAttachment,
    InProcessCharger,
    Stepper,
    attach_charger,
    drive_charger,
)
from harness.charger.case import ChargerAnswers, ChargerCase, ChargerRun
from harness.charger.hunting.sweep import ChargerSwept, charger_sweep
from harness.charger.judge import judge_charger
from harness.charger.rules import CHARGER_REQUIREMENTS
from harness.hunt.charger.passes import CHARGER_EDITS
from harness.hunt.compare import EQUAL
from harness.hunt.failure import NO_RUN, Failure, Hunted
from harness.hunt.hunt import hunt
from harness.hunt.role import HuntRole
from harness.run import Finding
from harness.verdict import CaseVerdict


def hunt_charger(
    made: Callable[[ChargerSettings], Stepper],
    *,
    seed: int,
    traces: int,
    name: str = "charger",
    selected: Collection[str] | None = None,
    enough: Callable[[tuple[Failure, ...]], bool] = lambda _: False,
) -> Hunted:
    """Hunt a charger of the project's own in this process, such as a faulty one of the zoo.

    Args:
        made: makes one of settings: an object with `step` and `power_cycle`.
        seed: of the sweep, 0 or more; the same seed gives the same traces.
        traces: the most traces to run.
        name: what it is called.
        selected: ids of the requirements that are asked for; None for all.
        enough: asked before each trace with what is known so far; the hunt ends when it says so.

    Returns:
        What was found: each `Failure` of `failures` has the requirement in `key.requirement`, the
        number of the first trace that showed it in `number`, and the finding in `finding`.
    """
    attachment = InProcessCharger(name, made, name)
    return hunt(attachment, seed=seed, traces=traces, selected=selected, enough=enough)


def charger_reference(case: ChargerCase) -> ChargerAnswers:
    """What the reference answers to a case."""
    return drive_charger(attach_charger("ref"), case).answers


def charger_agrees(answers: ChargerAnswers, said: ChargerAnswers, _features: Any = ()) -> bool:
    """Whether every answer is that of the reference, to rounding."""
    return bool(
        np.array_equal(answers.state, said.state)
        and np.allclose(answers.set_point_v, said.set_point_v, rtol=EQUAL, atol=EQUAL)
        and np.allclose(answers.limit_a, said.limit_a, rtol=EQUAL, atol=EQUAL)
    )


def charger_way_of(run: ChargerRun, finding: Finding) -> str:
    """In which way a requirement was broken: `following`, or `following to fallback`."""
    k, state = finding.index, run.answers.state
    if k < 0:
        return NO_RUN
    after = Conduct(state[k])
    fresh = k == 0 or k in run.case.power_cycles
    before = Conduct.STOPPED if fresh else Conduct(state[k - 1])
    return after.word if before is after else f"{before.word} to {after.word}"


def _sweep(
    seed: int, settings: ChargerSettings | None, _features: frozenset[str], first: int
) -> Iterator[ChargerSwept]:
    return charger_sweep(seed, settings=settings, start=first)


def _worlds(
    attachment: ChargerAttachment, seed: int, count: int, _features: frozenset[str]
) -> Iterator[ChargerSwept]:
    from harness.hunt.charger.in_loop import traces_in_loop

    return traces_in_loop(attachment, seed=seed, count=count)


def _judge(run: ChargerRun, tolerance_s: float) -> CaseVerdict:
    return judge_charger(run, tolerance_s=tolerance_s)


def _is_reference(attachment: ChargerAttachment) -> bool:
    return attachment.spec == "ref"


def _cannot_be_told(attachment: ChargerAttachment, case: ChargerCase) -> str:
    return attachment.cannot_be_told(case)


def _worded(column: str, value: Any) -> str:
    return Conduct(value).word if column == "state" else f"{value:.10g}"


CHARGER = HuntRole(
    name="charger",
    catalogue=CHARGER_REQUIREMENTS,
    sweep=_sweep,
    worlds=_worlds,
    drive=drive_charger,
    judge=_judge,
    way_of=charger_way_of,
    reference=charger_reference,
    agrees=charger_agrees,
    is_reference=_is_reference,
    cannot_be_told=_cannot_be_told,
    worded=_worded,
    edits=CHARGER_EDITS,
)
