"""The zoo of faulty chargers at once: each by every case, and hunted; and those that keep the rules."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache, partial

import numpy as np

from ctrl.charger import Charger, ChargerSettings
from harness.charger.attach import InProcessCharger, Stepper, drive_charger
from harness.charger.case import CHARGER_ANSWER_COLUMNS, ChargerAnswers, ChargerCase
from harness.charger.cases import charger_cases
from harness.charger.faults import FAULTS
from harness.charger.judge import judge_charger
from harness.charger.variants import VARIANTS
from harness.hunt.failure import Failure
from harness.run import Finding
from harness.zoo.alarms import REFERENCE, Quiet, gathered_of
from harness.zoo.farm import farmed
from harness.zoo.hunting import Find, gathered
from harness.zoo.matrix import Row
from harness.zoo.mutants.operators import BY_HAND
from harness.zoo.subject import Subject
from harness.zoo.whole import Told, Whole

ROLE = "charger"
Made = Callable[[ChargerSettings], Stepper]
# The name of what is tried, and the seed of a hunt; None for the cases.
Task = tuple[str, int | None]
RIGHT: dict[str, Made] = {REFERENCE: Charger, **VARIANTS}


@cache
def charger_subjects() -> tuple[Subject, ...]:
    """Every faulty charger."""
    return tuple(
        Subject(
            name=fault.name,
            operator=BY_HAND,
            title=" ".join(fault.told.split()).rstrip("."),
            about=fault.breaks[0].partition(".")[0],
            breaks=frozenset(fault.breaks),
            also=frozenset(name.partition(".")[0] for name in fault.breaks),
            reason=None,
            made_from=fault,
        )
        for fault in FAULTS.values()
    )


def charger_work_to_do(
    chosen: Sequence[Subject], seeds: Sequence[int], *, listen: bool = False
) -> int:
    """How often `told` will be called in all."""
    return (len(chosen) + (len(RIGHT) if listen else 0)) * (1 + len(seeds))


def charger_whole(
    chosen: Sequence[Subject],
    *,
    seeds: Sequence[int] = (),
    traces: int = 0,
    listen: bool = False,
    told: Told = lambda _: None,
    workers: int | None = None,
) -> Whole:
    """Try the cases on every one of them, then hunt it; as `harness.zoo.whole.whole`.

    Raises:
        WorkerDiedError: a process was ended from outside, or its work failed.
    """
    _right()  # worked out once, before the work is shared out
    rows: dict[str, Row] = {}
    finds: list[Find] = []
    quiet: list[Quiet] = []
    by_name = {subject.name: subject for subject in chosen}
    right = RIGHT if listen else ()
    complete = True
    try:
        for name, differs, found in farmed(list(by_name), _row, workers):
            told(name)
            rows[name] = Row(by_name[name], differs, found)
        hunts = [(name, seed) for seed in seeds for name in by_name]
        for find in farmed(hunts, partial(_find, traces), workers):
            told(f"{find.name}, seed {find.seed}")
            finds.append(find)
        tasks: list[Task] = [(name, seed) for name in right for seed in (None, *seeds)]
        for part in farmed(tasks, partial(_heard, traces), workers):
            told(part.name)
            quiet.append(part)
    except KeyboardInterrupt:
        complete = False
    known = [rows[subject.name] for subject in chosen if subject.name in rows]
    return Whole(
        rows=tuple(known),
        hunted=gathered([row.subject for row in known], finds),
        cases=tuple(case.id for case in charger_cases()),
        seeds=tuple(seeds),
        traces=traces,
        quiet=gathered_of(tuple(right), quiet),
        complete=complete,
        role=ROLE,
    )


@cache
def _right() -> dict[str, ChargerAnswers]:
    """What the reference answers to each case."""
    return {case.id: _answers(InProcessCharger("ref"), case) for case in charger_cases()}


def _answers(attachment: InProcessCharger, case: ChargerCase) -> ChargerAnswers:
    return drive_charger(attachment, case).answers


def _row(name: str) -> Iterator[tuple[str, tuple[str, ...], dict[str, tuple[str, ...]]]]:
    """What the cases say of a faulty charger; those that it answers rightly are not judged."""
    attachment = InProcessCharger(name, FAULTS[name].made, name)
    differs: list[str] = []
    found: dict[str, list[str]] = {}
    for case in charger_cases():
        run = drive_charger(attachment, case)
        if _same(run.answers, _right()[case.id]):
            continue
        differs.append(case.id)
        for requirement in dict.fromkeys(f.requirement for f in judge_charger(run).findings):
            found.setdefault(requirement, []).append(case.id)
    yield name, tuple(differs), {each: tuple(cases) for each, cases in found.items()}


def _same(one: ChargerAnswers, other: ChargerAnswers) -> bool:
    return all(
        np.array_equal(getattr(one, name), getattr(other, name), equal_nan=name != "state")
        for name in CHARGER_ANSWER_COLUMNS
    )


def _find(budget: int, task: tuple[str, int]) -> Iterator[Find]:
    """Hunt a faulty charger until something is found, or the budget is spent."""
    from harness.hunt.hunt import hunt

    name, seed = task
    attachment = InProcessCharger(name, FAULTS[name].made, name)
    hunted = hunt(attachment, seed=seed, traces=budget, enough=bool)
    requirements = tuple(dict.fromkeys(_requirement(each) for each in hunted.failures))
    yield Find(name, seed, hunted.traces if requirements else None, requirements)


def _requirement(failure: Failure) -> str:
    return failure.finding.requirement


def _heard(budget: int, task: Task) -> Iterator[Quiet]:
    """What is found in a charger that keeps the rules, by the cases or by the traces of a seed."""
    name, seed = task
    attachment = InProcessCharger(name, RIGHT[name], name)
    if seed is None:
        alarms: list[Finding] = []
        for case in charger_cases():
            alarms += judge_charger(drive_charger(attachment, case)).findings
        yield Quiet(name, len(charger_cases()), 0, tuple(alarms))
        return
    from harness.hunt.hunt import hunt

    hunted = hunt(attachment, seed=seed, traces=budget)
    found = tuple(each.finding for each in hunted.failures)
    yield Quiet(name, 0, hunted.traces, found)
