"""What is found in controllers that keep the rules: nothing, or the harness raises false alarms."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cache, partial
from itertools import islice

from attrs import frozen

from harness.attach import Attachment, LinkFault, attach, drive
from harness.cases import shipped
from harness.judge import judge
from harness.run import Case, Finding
from harness.strategies.sweep import sweep
from harness.zoo.farm import farmed
from harness.zoo.fault import Fault
from harness.zoo.subject import attached
from harness.zoo.variants import VARIANTS

REFERENCE, EXAMPLE = "reference", "example"


@frozen
class Quiet:
    """A controller that keeps the rules, and what was found in it all the same.

    Attributes:
        name: `reference`, `example`, or the name of a variant.
        vectors: how many vectors were judged on it.
        traces: how many swept traces were judged on it.
        alarms: what was found; each is a false alarm.
    """

    name: str
    vectors: int
    traces: int
    alarms: tuple[Finding, ...]


def names() -> tuple[str, ...]:
    """The reference, the example in Python, and each variant that keeps the rules."""
    return (REFERENCE, EXAMPLE, *(variant.name for variant in VARIANTS))


def tasks_for(seeds: Sequence[int]) -> list[tuple[str, int | None]]:
    """What `listened` works on: each by the vectors, and by the traces of each seed."""
    return [(name, seed) for name in names() for seed in (None, *seeds)]


def listened(
    seeds: Sequence[int],
    budget: int,
    told: Callable[[str], None] = lambda _: None,
    workers: int | None = None,
) -> Iterator[Quiet]:
    """Judge each of them by every vector and by every swept trace; parts come in any order.

    Args:
        seeds: of the traces; none for the vectors alone.
        budget: how many traces one seed gives.
        told: called as each part ends.
        workers: how many processes; None for one a core.

    Raises:
        WorkerDiedError: a process was ended from outside, or its work failed.
    """
    for part in farmed(tasks_for(seeds), partial(_judged, budget), workers):
        told(part.name)
        yield part


def gathered(parts: Iterable[Quiet]) -> tuple[Quiet, ...]:
    """The parts of each controller together, in the order of `names`."""
    return gathered_of(names(), parts)


def gathered_of(names: Sequence[str], parts: Iterable[Quiet]) -> tuple[Quiet, ...]:
    """The parts of each together, in the order of these names."""
    of: dict[str, list[Quiet]] = {}
    for part in parts:
        of.setdefault(part.name, []).append(part)
    return tuple(
        Quiet(
            name,
            sum(part.vectors for part in of[name]),
            sum(part.traces for part in of[name]),
            tuple(
                sorted(
                    (alarm for part in of[name] for alarm in part.alarms),
                    key=lambda alarm: (alarm.requirement, alarm.case, alarm.index),
                )
            ),
        )
        for name in names
        if name in of
    )


def _judged(budget: int, task: tuple[str, int | None]) -> Iterator[Quiet]:
    name, seed = task
    cases = (
        (vector.case for vector in shipped())
        if seed is None
        else (swept.case for swept in islice(sweep(seed), budget))
    )
    count = 0
    alarms: list[Finding] = []
    with _attached(name) as attachment:
        for case in cases:
            count += 1
            alarms += _findings(attachment, case)
    if seed is None:
        yield Quiet(name, count, 0, tuple(alarms))
    else:
        yield Quiet(name, 0, count, tuple(alarms))


def _findings(attachment: Attachment, case: Case) -> tuple[Finding, ...]:
    try:
        return judge(drive(attachment, case)).findings
    except LinkFault as fault:
        attachment.restart()
        return (fault.finding(case.id),)


def _attached(name: str) -> Attachment:
    if name == REFERENCE:
        return attach("ref")
    return attached(None if name == EXAMPLE else _variants()[name])


@cache
def _variants() -> dict[str, Fault]:
    return {variant.name: variant for variant in VARIANTS}
