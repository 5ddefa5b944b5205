"""What the hunt finds in faulty controllers, shortened, and asked of the independent monitor.

`python -m tests.oracles.finds` does it for every faulty controller of the zoo that can be found, and
takes some minutes; a test does it for a part of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from attrs import frozen

from harness.attach import LinkFault, drive
from harness.hunt.hunt import hunt
from harness.hunt.shortest import can_be_shortened, shortest
from harness.zoo.subject import Subject, subjects
from tests.oracles.monitor import confirmed

SEED, TRACES = 0, 400


@frozen
class Asked:
    """One find, and what the monitor says.

    Attributes:
        name: of the faulty controller.
        requirement: what the judge says is broken.
        says: whether the monitor says so too; None where it has nothing to say.
    """

    name: str
    requirement: str
    says: bool | None


def asked(chosen: Iterable[Subject], traces: int = TRACES) -> Iterator[Asked]:
    """Hunt each of them and ask about the shortest trace of every failure."""
    for subject in chosen:
        with subject.attached() as attachment:
            for failure in hunt(attachment, seed=SEED, traces=traces).failures:
                if not can_be_shortened(failure):
                    continue
                case = shortest(attachment, failure).case
                try:
                    run = drive(attachment, case)
                except LinkFault:
                    continue
                name = failure.key.requirement
                yield Asked(subject.name, name, confirmed(case, run, name))


def findable() -> list[Subject]:
    """Every faulty controller that can be found by a trace, in this process."""
    return [
        subject
        for subject in subjects()
        if subject.reason is None and subject.shows_on_traces and not _elsewhere(subject)
    ]


def _elsewhere(subject: Subject) -> bool:
    return bool(getattr(subject.made_from, "in_messages", False))


def main() -> None:
    """Ask about all of them and print what came of it."""
    finds = list(asked(findable()))
    refuted = [find for find in finds if find.says is False]
    can_say = [find for find in finds if find.says is not None]
    print(
        f"{len({find.name for find in finds})} faulty controllers, {len(finds)} finds:"
        f" the monitor can express {len(can_say)} and confirms {len(can_say) - len(refuted)}"
    )
    for find in refuted:
        print(f"not confirmed: {find.name}: {find.requirement}")


if __name__ == "__main__":
    main()
