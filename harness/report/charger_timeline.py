"""What a charger did in a run, moment by moment: states, moves summed up, and what it had heard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from attrs import frozen

from ctrl.charger import ChargerSettings, Conduct
from harness.charger.case import ChargerAnswers, ChargerRun, Conducts
from harness.report.charger_heard import in_force
from harness.report.timeline import POWER_LOST
from harness.report.words import count, number
from harness.run import Flags, Floats

# What moves by less is no move that a person wants to be told of.
LEAST_V, LEAST_A = 0.005, 0.05
# A move that rests for so many samples has ended.
REST = 10
# Smaller steps than any charger means.
TINY = 1e-9


@frozen
class ChargerMoment:
    """One sample at which something happened.

    Attributes:
        index: index of the sample, counted from 0.
        t: its time stamp, s.
        before: state before the sample; empty at the first one and after a loss of power.
        after: state after it.
        set_point_v: the set-point that is answered to it, V.
        limit_a: the limit that is answered to it, A.
        happened: what happened, in words.
        reference: the state of the reference where it is another one; empty where it is the same.
    """

    index: int
    t: float
    before: str
    after: str
    set_point_v: float
    limit_a: float
    happened: tuple[str, ...]
    reference: str


def charger_moments(run: ChargerRun, reference: ChargerAnswers) -> list[ChargerMoment]:
    """The first sample, and every one at which something happened that is worth telling.

    Args:
        run: the run.
        reference: what the reference answers to the same case.
    """
    answers, trace = run.answers, run.case.trace
    cycles = sorted(k for k in run.case.power_cycles if k > 0)
    begins = {0, *cycles}
    differs = answers.state != reference.state
    told: dict[int, list[str]] = {index: [POWER_LOST] for index in cycles}
    told.setdefault(0, [])
    for index in (np.flatnonzero(_changes(answers.state) | _changes(differs)) + 1).tolist():
        told.setdefault(index, [])
    for index, words in _heard(run):
        told.setdefault(index, []).append(words)
    for start, stop in pairwise([*sorted(begins), len(trace)]):
        for name, unit, least in (("set-point", "V", LEAST_V), ("limit", "A", LEAST_A)):
            values = answers.set_point_v if unit == "V" else answers.limit_a
            for first, last in moves(values[start:stop].tolist(), least):
                words = _move(name, unit, values, trace.t, start + first, start + last)
                told.setdefault(start + first + 1, []).append(words)
    return [
        ChargerMoment(
            index=index,
            t=float(trace.t[index]),
            before="" if index in begins else Conduct(answers.state[index - 1]).word,
            after=Conduct(answers.state[index]).word,
            set_point_v=float(answers.set_point_v[index]),
            limit_a=float(answers.limit_a[index]),
            happened=tuple(told[index]),
            reference=Conduct(reference.state[index]).word if differs[index] else "",
        )
        for index in sorted(told)
    ]


def moves(values: Sequence[float], least: float) -> Iterator[tuple[int, int]]:
    """Stretches in which values go one way without a rest, as `(last before it, last of it)`.

    Args:
        values: the values.
        least: a move that goes less far is left out.
    """
    start = last = direction = 0
    for k, (before, now) in enumerate(pairwise(values), start=1):
        goes = 0 if not abs(now - before) > TINY else 1 if now > before else -1
        rests = goes == 0 and k - last >= REST
        if direction and (rests or goes == -direction):
            if abs(values[last] - values[start]) >= least:
                yield start, last
            direction = 0
        if goes and not direction:
            start, direction = k - 1, goes
        last = k if goes else last
    if direction and abs(values[last] - values[start]) >= least:
        yield start, last


def _changes(values: Conducts | Flags) -> Flags:
    flags: Flags = values[1:] != values[:-1]
    return flags


def _move(name: str, unit: str, values: Floats, t: Floats, first: int, last: int) -> str:
    goes = "rises" if values[last] > values[first] else "falls"
    text = f"{name} {goes} from {_short(values[first])} to {_short(values[last])} {unit}"
    if last == first + 1:
        return text
    passed_s = t[last] - t[first]
    over = f"{number(passed_s)} s" if passed_s > 0 else count(last - first, "sample")
    return f"{text} over {over}"


def _short(value: float) -> str:
    return f"{value:.6g}"


def _heard(run: ChargerRun) -> Iterator[tuple[int, str]]:
    """What the messages come to, and when it changes."""
    heard, settings = in_force(run.case), run.case.settings
    yield from _asked(heard["asked_v"], heard["asked_a"], settings.packs)
    yield from _crossed(heard["oldest_s"], heard["fresh_s"], settings)


def _asked(asked_v: Floats, asked_a: Floats, packs: int) -> Iterator[tuple[int, str]]:
    before_v = before_a = np.nan
    who = "the pack asks" if packs == 1 else "the packs ask"
    for index, (now_v, now_a) in enumerate(zip(asked_v.tolist(), asked_a.tolist(), strict=True)):
        known = np.isfinite(now_v) and np.isfinite(now_a)
        if known and not (abs(now_v - before_v) < LEAST_V and abs(now_a - before_a) < LEAST_A):
            before_v, before_a = now_v, now_a
            yield index, f"{who} for {_short(now_v)} V and {_short(now_a)} A"


def _crossed(
    oldest_s: Floats, fresh_s: Floats, settings: ChargerSettings
) -> Iterator[tuple[int, str]]:
    with np.errstate(invalid="ignore"):
        crossings = (
            (oldest_s > settings.stale_s, f"a message is older than {settings.stale_s:g} s"),
            (oldest_s > settings.silent_s, f"a pack is silent for over {settings.silent_s:g} s"),
            (
                fresh_s >= settings.steady_s,
                f"every message has been fresh for {settings.steady_s:g} s",
            ),
        )
    for holds, words in crossings:
        for index in np.flatnonzero(holds & ~np.concatenate(([False], holds[:-1]))).tolist():
            yield index, words
