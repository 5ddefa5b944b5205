"""What happened in a run, moment by moment, beside what had to happen."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from attrs import evolve, frozen

from ctrl.state import Event
from ctrl.vocabulary import Stage
from harness.run import Expected, Flags, Run

FULL_RESET = "full reset"
POWER_LOST = "power lost"
REQUESTED = "equalisation requested"
EMPTY_RESET = "count set to 0"
# Counting cannot take so much off the state of charge from one sample to the next.
JUMP_DOWN = 0.02


@frozen
class Moment:
    """One sample at which something happened or had to.

    Attributes:
        index: index of the sample, counted from 0.
        t: its time stamp, s.
        before: stage before the sample; empty where the expectation alone has something to say.
        after: stage after it.
        soc: state of charge after it, 0..1; None where the controller does not count.
        happened: what happened, in words.
        expected: the stage that had to be entered here; None where none had to be.
        agrees: whether what happened is what had to; True where no expectation is known.
    """

    index: int
    t: float
    before: str
    after: str
    soc: float | None
    happened: tuple[str, ...]
    expected: str | None = None
    agrees: bool = True


def moments(run: Run, events: Mapping[int, tuple[Event, ...]] | None = None) -> list[Moment]:
    """The first sample, and every one at which the controller did something worth telling.

    Args:
        run: the run.
        events: what the controller itself says happened, by sample; None where it cannot say, then
            it is read off its answers.
    """
    answers, trace = run.answers, run.case.trace
    stage = answers.stage
    told = {index: tuple(map(_words, said)) for index, said in (events or {}).items()}
    marks: dict[int, tuple[str, ...]] = dict.fromkeys(
        [0, *_indices(stage[1:] != stage[:-1], 1)], ()
    )
    if events is None and answers.full_reset is not None:
        for index in _indices(answers.full_reset):
            marks[index] = (*marks.get(index, ()), FULL_RESET)
    if events is None and answers.soc is not None:
        soc = answers.soc
        for index in _indices((soc[:-1] - soc[1:] > JUMP_DOWN) & (soc[1:] == 0.0), 1):
            marks[index] = (*marks.get(index, ()), EMPTY_RESET)
    marks |= told
    for index in run.case.equalise_requests:
        marks[index] = (REQUESTED, *marks.get(index, ()))
    for index in run.case.power_cycles:
        marks[index] = (POWER_LOST, *marks.get(index, ()))
    return [
        Moment(
            index=index,
            t=float(trace.t[index]),
            before=Stage(stage[index - 1]).word if index else "",
            after=Stage(stage[index]).word,
            soc=None if answers.soc is None else float(answers.soc[index]),
            happened=marks[index],
        )
        for index in sorted(marks)
    ]


def _indices(flags: Flags, offset: int = 0) -> list[int]:
    """Where the flags are true, counted from `offset`."""
    indices: list[int] = (np.flatnonzero(flags) + offset).tolist()
    return indices


def _words(event: Event) -> str:
    words = event.name.replace("_", " ")
    return f"{words}: {event.cause.replace('_', ' ')}" if event.cause else words


def beside(found: list[Moment], run: Run, expected: Expected) -> list[Moment]:
    """The same moments, each beside the stage that had to be entered there.

    A change of stage agrees when it goes into the expected stage within one sample of the expected
    one: how the rules let a timer round.
    """
    due = _due(run, expected)
    merged: list[Moment] = []
    for moment in found:
        changed = moment.before != moment.after
        while due and due[0][0] < moment.index - 1:
            merged.append(_missing(run, *due.pop(0)))
        if not changed:
            merged.append(moment)
        elif due and abs(due[0][0] - moment.index) <= 1 and due[0][1] == moment.after:
            merged.append(evolve(moment, expected=due.pop(0)[1]))
        else:
            merged.append(evolve(moment, agrees=False))
    merged += [_missing(run, index, word) for index, word in due]
    return sorted(merged, key=lambda moment: moment.index)


def _due(run: Run, expected: Expected) -> list[tuple[int, str]]:
    """The expected changes of stage as `(index, stage)`; time stamps may step back."""
    stamps = run.case.trace.t
    due: list[tuple[int, str]] = []
    index = 0
    for t, word in expected.stages:
        later = np.flatnonzero(stamps[index:] == t)
        index = index + int(later[0]) if len(later) else int(np.argmin(np.abs(stamps - t)))
        due.append((index, word))
    return due


def _missing(run: Run, index: int, word: str) -> Moment:
    soc = None if run.answers.soc is None else float(run.answers.soc[index])
    stage = Stage(run.answers.stage[index]).word
    return Moment(
        index, float(run.case.trace.t[index]), stage, stage, soc, (), expected=word, agrees=False
    )
