"""The whole zoo at once: every faulty controller by the vectors, and hunted, on all cores."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache, partial

from attrs import field, frozen

from harness.cases import shipped
from harness.run import Case
from harness.zoo import alarms
from harness.zoo.alarms import Quiet
from harness.zoo.farm import farmed, workers_for
from harness.zoo.hunting import Find, Ground, Hunted, gathered, hunt
from harness.zoo.matrix import Known, Row, cover, examine, idle, redundant, without_faults
from harness.zoo.mutants.operators import OPERATORS, Operator
from harness.zoo.subject import Subject, subjects

# What is told as each piece of work ends.
Told = Callable[[str], None]


@frozen
class Tally:
    """What came of the faulty controllers of one operator.

    Attributes:
        operator: it; None for all of them together.
        real: how many can be found.
        by_vectors: how many of those the vectors find.
        named: how many of those in a requirement that they break.
        hunted: how many of the real ones were hunted.
        in_every_seed: how many of those were found in every seed.
        in_some_seed: how many in some seeds and not in others.
        exact: how many are equivalent: no answer differs.
        tolerated: how many differ by no more than the requirements allow.
    """

    operator: Operator | None
    real: int
    by_vectors: int
    named: int
    hunted: int
    in_every_seed: int
    in_some_seed: int
    exact: int
    tolerated: int


@frozen
class Whole:
    """What came of the zoo, or of the part of it that was asked for.

    Attributes:
        rows: by the vectors, one entry a faulty controller.
        hunted: by the hunt, one entry for each that was hunted.
        cases: ids of the vectors.
        seeds: of the hunt.
        traces: the budget of one hunt.
        quiet: what was found in controllers that keep the rules; empty where they were not asked.
        complete: whether nothing cut it short.
        role: what is faulty.
    """

    rows: tuple[Row, ...]
    hunted: tuple[Hunted, ...]
    cases: tuple[str, ...]
    seeds: tuple[int, ...] = ()
    traces: int = 0
    quiet: tuple[Quiet, ...] = ()
    complete: bool = True
    role: str = "controller"
    _by_name: dict[str, Hunted] = field(init=False, repr=False, eq=False)

    @_by_name.default
    def _index(self) -> dict[str, Hunted]:
        return {each.subject.name: each for each in self.hunted}

    def hunted_of(self, subject: Subject) -> Hunted | None:
        """What the hunt says of a faulty controller; None where it was not hunted."""
        return self._by_name.get(subject.name)

    @property
    def real(self) -> tuple[Row, ...]:
        """The rows of those that can be found."""
        return tuple(row for row in self.rows if row.subject.reason is None)

    @property
    def missed(self) -> tuple[Row, ...]:
        """Those that can be found, and that no vector finds."""
        return tuple(row for row in self.real if not row.found)

    @property
    def elsewhere(self) -> tuple[Row, ...]:
        """Those that the vectors find only in requirements that they do not break."""
        return tuple(row for row in self.real if row.found and not row.killed)

    @property
    def refuted(self) -> tuple[Row | Hunted, ...]:
        """Those that are said never to be found, and were: by vectors, or by the hunt."""
        by_vectors = [row for row in self.rows if row.subject.reason is not None and row.found]
        by_hunt = [h for h in self.hunted if h.subject.reason is not None and h.found_in]
        return (*by_vectors, *by_hunt)

    @property
    def alarms(self) -> int:
        """How many false alarms there were."""
        return sum(len(each.alarms) for each in self.quiet)

    @property
    def idle(self) -> list[str]:
        """Vectors that find nothing."""
        return idle(self.rows, self.cases)

    @property
    def redundant(self) -> list[str]:
        """Vectors that find nothing that a small number of others does not find."""
        return redundant(self.rows, self.cases)

    @property
    def cover(self) -> list[str]:
        """That small number of others."""
        return cover(self.rows, self.cases)

    def tally(self, operator: Operator | None = None) -> Tally:
        """What came of one operator, or of all together."""
        rows = [row for row in self.rows if operator in (None, row.subject.operator)]
        reasons = [row.subject.reason for row in rows if row.subject.reason is not None]
        real = [row for row in rows if row.subject.reason is None]
        hunted = [h for row in real if (h := self.hunted_of(row.subject)) is not None]
        return Tally(
            operator,
            real=len(real),
            by_vectors=sum(bool(row.found) for row in real),
            named=sum(row.killed for row in real),
            hunted=len(hunted),
            in_every_seed=sum(each.found_in == len(each.finds) for each in hunted),
            in_some_seed=sum(0 < each.found_in < len(each.finds) for each in hunted),
            exact=sum(reason.exact for reason in reasons),
            tolerated=sum(not reason.exact for reason in reasons),
        )

    def tallies(self) -> list[Tally]:
        """One entry for each operator that has any, then all together."""
        used = {row.subject.operator for row in self.rows}
        return [*(self.tally(each) for each in OPERATORS if each in used), self.tally()]


@cache
def _cases() -> tuple[Case, ...]:
    return tuple(vector.case for vector in shipped())


@cache
def _right() -> tuple[Known, Known]:
    return without_faults(_cases())


@cache
def _by_name() -> dict[str, Subject]:
    return {subject.name: subject for subject in subjects()}


# What one process sends to another must be plain: a subject cannot be sent, its name can.
_Plain = tuple[str, tuple[str, ...], dict[str, tuple[str, ...]]]


def _row(name: str) -> Iterator[_Plain]:
    subject = _by_name()[name]
    example, reference = _right()
    row = examine(subject, _cases(), example if subject.by_hand else reference)
    yield name, row.differs, dict(row.found)


def _finds(budget: int, task: tuple[int, tuple[str, ...]]) -> Iterator[Find]:
    seed, names = task
    ground = Ground(seed, budget)
    for name in names:
        yield hunt(_by_name()[name], ground)


def by_vectors(chosen: Sequence[Subject], told: Told, workers: int | None = None) -> Iterator[Row]:
    """Try every vector on each of them; rows come in any order."""
    _right()  # worked out once, before the work is shared out
    for name, differs, found in farmed([subject.name for subject in chosen], _row, workers):
        told(name)
        yield Row(_by_name()[name], differs, found)


def seeds_for(subject: Subject, seeds: Sequence[int]) -> tuple[int, ...]:
    """The seeds by which it is hunted: by one where the hunt must be in vain, and takes longest."""
    if not subject.shows_on_traces:
        return ()
    return tuple(seeds) if subject.reason is None else tuple(seeds[:1])


def by_hunt(
    chosen: Sequence[Subject],
    seeds: Sequence[int],
    budget: int,
    told: Told,
    workers: int | None = None,
) -> Iterator[Find]:
    """Hunt each of them by its seeds; what is found comes in any order."""
    of_seed = {
        seed: tuple(each.name for each in chosen if seed in seeds_for(each, seeds))
        for seed in seeds
    }
    some = max(map(len, of_seed.values()), default=0)
    count = workers_for(len(seeds) * max(some, 1)) if workers is None else workers
    # The traces of a seed are made once a part, so there are no more parts than cores need.
    parts = max(1, -(-count // max(len(seeds), 1)))
    tasks = [
        (seed, names[k::parts])
        for seed, names in of_seed.items()
        for k in range(parts)
        if names[k::parts]
    ]
    for find in farmed(tasks, partial(_finds, budget), workers):
        told(f"{find.name}, seed {find.seed}")
        yield find


def work_to_do(chosen: Sequence[Subject], seeds: Sequence[int], *, listen: bool = False) -> int:
    """How often `told` will be called in all."""
    hunts = sum(len(seeds_for(subject, seeds)) for subject in chosen)
    return len(chosen) + hunts + (len(alarms.tasks_for(seeds)) if listen else 0)


def whole(
    chosen: Sequence[Subject],
    *,
    seeds: Sequence[int] = (),
    traces: int = 0,
    listen: bool = False,
    told: Told = lambda _: None,
    workers: int | None = None,
) -> Whole:
    """Try the vectors on every one of them, then hunt it.

    Args:
        chosen: the faulty controllers.
        seeds: of the hunts; none for no hunt.
        traces: how many traces one hunt may take.
        listen: whether controllers that keep the rules are judged as well, by the vectors and by
            all traces of all seeds.
        told: called as each piece of work ends.
        workers: how many processes; None for one a core.

    Returns:
        The result; the same whatever the number of processes. After an interruption it is that of
        what was done until then, and not complete.

    Raises:
        WorkerDiedError: a process was ended from outside, or its work failed.
    """
    rows: dict[str, Row] = {}
    finds: list[Find] = []
    quiet: list[Quiet] = []
    complete = True
    try:
        for row in by_vectors(chosen, told, workers):
            rows[row.subject.name] = row
        if seeds:
            for find in by_hunt(chosen, seeds, traces, told, workers):
                finds.append(find)  # one by one: what came before an interruption is kept
        if listen:
            for part in alarms.listened(seeds, traces, told, workers):
                quiet.append(part)
    except KeyboardInterrupt:
        complete = False
    known = [rows[subject.name] for subject in chosen if subject.name in rows]
    return Whole(
        rows=tuple(known),
        hunted=gathered([row.subject for row in known], finds),
        cases=tuple(case.id for case in _cases()),
        seeds=tuple(seeds),
        traces=traces,
        quiet=alarms.gathered(quiet),
        complete=complete,
    )
