"""How many swept traces it takes to find a faulty controller, seed by seed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from statistics import median

from attrs import frozen

from ctrl.state import Output, Sample
from harness.attach import Attachment, LinkFault, drive
from harness.judge import judge
from harness.run import Answers, Case, Run
from harness.strategies.sweep import sweep
from harness.zoo.matrix import finds, same
from harness.zoo.mutants.attachment import MutantAttachment, answers_from, samples_of
from harness.zoo.subject import Subject, attached


@frozen
class Find:
    """What came of one hunt for one faulty controller.

    Attributes:
        name: of the faulty controller.
        seed: of the sweep.
        traces: how many traces it took; None where the budget was not enough.
        requirements: ids of the requirements that the trace found broken.
        differs: how many of the traces it answered in another way than it would without its fault.
    """

    name: str
    seed: int
    traces: int | None
    requirements: tuple[str, ...] = ()
    differs: int = 0


@frozen
class Hunted:
    """What all seeds say of one faulty controller.

    Attributes:
        subject: the faulty controller.
        finds: one entry a seed, in their order.
    """

    subject: Subject
    finds: tuple[Find, ...]

    @property
    def found_in(self) -> int:
        """In how many of the seeds it was found."""
        return len(self._traces)

    @property
    def right_in(self) -> int:
        """In how many of them it was found in a requirement that it breaks."""
        return sum(any(map(self.subject.may_break, each.requirements)) for each in self.finds)

    @property
    def median_traces(self) -> float | None:
        """The median number of traces, a seed without a find as one that takes for ever."""
        if not self._traces:
            return None
        every = [*self._traces, *[float("inf")] * (len(self.finds) - len(self._traces))]
        middle = median(every)
        return middle if middle < float("inf") else None

    @property
    def most_traces(self) -> int | None:
        """The greatest number of traces of a seed; None where one of them found nothing."""
        return max(self._traces) if self.found_in == len(self.finds) and self.finds else None

    @property
    def _traces(self) -> list[int]:
        return [each.traces for each in self.finds if each.traces is not None]


@frozen(eq=False)
class Prey:
    """One swept trace, ready for every faulty controller.

    Attributes:
        case: the trace.
        samples: the same, sample by sample.
        said: what the reference answers.
    """

    case: Case
    samples: list[Sample]
    said: Answers


class Ground:
    """The traces of one seed, made once, as many as were needed; and the example's answers to them."""

    def __init__(self, seed: int, budget: int) -> None:
        self.seed = seed
        self._source = islice(sweep(seed), budget)
        self._made: list[Prey] = []
        self._example: dict[str, Answers | None] = {}
        self._attached: Attachment | None = None

    def __iter__(self) -> Iterator[Prey]:
        k = 0
        while True:
            if k == len(self._made):
                swept = next(self._source, None)
                if swept is None:
                    return
                self._made.append(Prey(swept.case, samples_of(swept.case.trace), swept.said))
            yield self._made[k]
            k += 1

    def by_example(self, case: Case) -> Answers | None:
        """What the example without a fault answers; None where it fails to."""
        if case.id not in self._example:
            if self._attached is None:
                self._attached = attached(None)
            try:
                self._example[case.id] = drive(self._attached, case).answers
            except LinkFault:
                self._attached.restart()
                self._example[case.id] = None
        return self._example[case.id]


def hunt(subject: Subject, ground: Ground) -> Find:
    """Try the traces one after the other until one of them finds the fault."""
    differs = 0
    with subject.attached() as attachment:
        for number, prey in enumerate(ground, start=1):
            if isinstance(attachment, MutantAttachment):
                found = _found(attachment, prey)
            else:
                found = finds(attachment, prey.case, ground.by_example(prey.case))
            if found is None:
                continue
            differs += 1
            if found:
                return Find(subject.name, ground.seed, number, found, differs)
    return Find(subject.name, ground.seed, None, (), differs)


def _found(attachment: MutantAttachment, prey: Prey) -> tuple[str, ...] | None:
    """As `matrix.finds`, with the samples that are made already."""
    case = prey.case
    outputs: list[Output] = []
    try:
        attachment.start(case.settings, case.soc)
        for start, stop, power_was_lost in case.stretches():
            if power_was_lost:
                attachment.power_cycle()
            if start in case.equalise_requests:
                attachment.request_equalisation()
            outputs += attachment.stepped(prey.samples[start:stop])
    except LinkFault as fault:
        attachment.restart()
        return (fault.requirement,)
    answers = answers_from(outputs)
    if same(answers, prey.said):
        return None
    findings = judge(Run(case, attachment.hello(), answers)).findings
    return tuple(dict.fromkeys(finding.requirement for finding in findings))


def gathered(subjects: Sequence[Subject], finds: Sequence[Find]) -> tuple[Hunted, ...]:
    """The finds of each faulty controller together, in the order of their seeds."""
    of: dict[str, list[Find]] = {subject.name: [] for subject in subjects}
    for each in finds:
        of[each.name].append(each)
    return tuple(
        Hunted(subject, tuple(sorted(of[subject.name], key=lambda each: each.seed)))
        for subject in subjects
        if of[subject.name]
    )
