"""The samples around a finding about a charger: what it heard, what it gave, and what was in force."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from harness.charger.case import PACK_NUMBERS, ChargerAnswers, ChargerCase, ChargerRun
from harness.report.charger_heard import in_force, reference_answers
from harness.report.excerpt import (
    DECIMALS,
    MOST_FOR_REFERENCE,
    Excerpt,
    kept_of,
    window,
)
from harness.role import CHARGER
from harness.run import Finding, Floats

# Numbers that are answered, and what they are called where the reference answered them.
ANSWERED = ("set_point_v", "limit_a")
REFERENCE = "reference_"


def charger_excerpts_of(
    case: ChargerCase,
    run: ChargerRun | None,
    findings: Iterable[Finding],
    *,
    compared: bool = True,
) -> Iterator[Excerpt]:
    """What to keep of one case; as `harness.report.excerpt.excerpts_of`, for a charger.

    Args:
        case: the case.
        run: what came of it; None where the charger failed to answer.
        findings: what is wrong with it; those without a sample are left out.
        compared: whether the reference is asked, too.
    """
    kept: list[Excerpt] = []
    said: ChargerAnswers | None = None
    heard: dict[str, Floats] | None = None
    compared = compared and len(case.trace) <= MOST_FOR_REFERENCE
    for finding in findings:
        inside = 0 <= finding.index < len(case.trace)
        if not inside or any(each.position(finding) >= 0 for each in kept):
            continue
        if said is None and compared:
            said = reference_answers(case)
        heard = in_force(case) if heard is None else heard
        kept.append(_around(case, run, said, heard, finding.index))
        yield kept[-1]


def _around(
    case: ChargerCase,
    run: ChargerRun | None,
    said: ChargerAnswers | None,
    heard: dict[str, Floats],
    index: int,
) -> Excerpt:
    own = run.answers.state if run else None
    first, behind = window(own, index, len(case.trace))
    here = slice(first, behind)
    states = None if own is None else own[here]
    reference = None if said is None else said.state[here]
    trace = case.trace.part(first, behind)
    shown = [each for each in (states, reference) if each is not None]
    at = kept_of(trace.pack_v[:, 0], shown, index - first)
    columns = {"t": trace.t, "own_v": trace.own_v, "own_a": trace.own_a}
    for p in range(trace.packs):
        columns |= {f"{name}_{p + 1}": getattr(trace, name)[:, p] for name in PACK_NUMBERS}
    columns |= {name: values[here] for name, values in heard.items()}
    for before, answers in (("", run.answers if run else None), (REFERENCE, said)):
        if answers is not None:
            columns |= {before + name: getattr(answers, name)[here] for name in ANSWERED}
    return Excerpt(
        case=case.id,
        settings=case.settings,
        samples=len(case.trace),
        indices=first + at,
        columns={name: np.round(values[at], DECIMALS) for name, values in columns.items()},
        stages=None if states is None else states[at],
        reference_stages=None if reference is None else reference[at],
        power_cycles=tuple(k for k in case.power_cycles if first <= k < behind),
        role=CHARGER,
    )
