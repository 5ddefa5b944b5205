"""Drawn traces without end, each with what the reference answers to it."""

from __future__ import annotations

from collections.abc import Iterator

from attrs import frozen

from ctrl.charger import Charger, ChargerSettings
from harness.charger.case import ChargerAnswers, ChargerCase
from harness.charger.hunting import deeds, sensing
from harness.charger.hunting.drawn_settings import drawn_settings
from harness.charger.hunting.growing import NOTHING, Full, Growing
from harness.charger.hunting.moves import talk
from harness.charger.hunting.picks import Picks

DEEDS = (*deeds.DEEDS, *sensing.DEEDS)
# A trace has at least and at most so many deeds.
LEAST_DEEDS, MOST_DEEDS = 2, 7
INTERVALS_S = (1.0, 1.0, 0.5, 1.0, 2.0)


@frozen(eq=False)
class ChargerSwept:
    """One trace of a sweep.

    Attributes:
        number: its place in the sweep, from 0; negative for one that a closed loop made.
        case: the trace with its settings; the id is `hunt/SEED-NUMBER`.
        said: what the reference answers to it.
    """

    number: int
    case: ChargerCase
    said: ChargerAnswers


def charger_sweep(
    seed: int, *, settings: ChargerSettings | None = None, start: int = 0
) -> Iterator[ChargerSwept]:
    """Traces without end; the one of a number depends on the seed and that number only.

    Args:
        seed: 0 or more.
        settings: those of every trace; None draws them.
        start: number of the first trace.

    Raises:
        ValueError: a negative seed or start.
    """
    if seed < 0 or start < 0:
        raise ValueError(f"a sweep of seed {seed} from {start}; both must be 0 or more")
    number = start
    while True:
        case, said = drawn_trace(f"hunt/{seed}-{number}", Picks((seed, number)), settings)
        yield ChargerSwept(number, case, said)
        number += 1


def drawn_trace(
    name: str, picks: Picks, settings: ChargerSettings | None = None
) -> tuple[ChargerCase, ChargerAnswers]:
    """One drawn trace that the reference goes along with, and what it answers."""
    own = settings or drawn_settings(picks)
    growing = Growing(own, Charger(own), picks)
    grow(growing)
    return growing.case(name)


def grow(growing: Growing) -> None:
    """Let a trace grow: a beginning, and one deed after the other."""
    settings, picks = growing.settings, growing.picks
    most_s = min(settings.max_gap_s, settings.stale_s) / 2
    growing.dt = min(picks.one(INTERVALS_S), most_s)
    try:
        _begin(growing)
        for _ in range(LEAST_DEEDS + picks.below(MOST_DEEDS - LEAST_DEEDS + 1)):
            picks.one(DEEDS)(growing)
    except Full:
        pass


def _begin(g: Growing) -> None:
    """Nothing is heard at first, or only what is old; then, most of the time, everybody speaks."""
    kind = g.picks.below(6)
    if kind == 1:
        g.go(g.picks.one((3, 12)), packs=[NOTHING] * g.settings.packs)
    elif kind == 2:
        # A pack that never speaks, beside others that do.
        never = g.picks.below(g.settings.packs)
        packs = [NOTHING if p == never else ask for p, ask in enumerate(g.asks)]
        g.go(g.samples(g.settings.steady_s) + 6, packs=packs)
    if kind != 3:
        talk(g, g.picks.one((3, 15, -2)))
