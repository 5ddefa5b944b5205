"""What can happen to messages and stamps: requests, silence, nonsense, clocks, and power."""

from __future__ import annotations

from math import inf, nan

from attrs import evolve

from ctrl.charger import Conduct, Message
from harness.charger.hunting.growing import Growing
from harness.charger.hunting.moves import MANY, Deed, beside, change, idle, kept_in, talk, usual

DEEDS: list[Deed] = []
deed = kept_in(DEEDS)


def patient(g: Growing) -> int:
    """Samples until every slope has had its time, ten times over."""
    s = g.settings
    rise_v = max(min(ask.request_v for ask in g.asks) - s.fallback_v, 0.0)
    rise_a = min(sum(ask.request_a for ask in g.asks), s.highest_a)
    seconds = 10.0 * max(rise_v / s.raise_v_per_s, rise_a / s.raise_a_per_s)
    return min(g.samples(seconds) + 3, 3 * MANY)


@deed(2)
def steady(g: Growing) -> None:
    """Nothing happens."""
    talk(g, g.picks.one((5, 0, 12)))


@deed(7)
def requests(g: Growing) -> None:
    """A request falls or rises, and there is some time for it."""
    kind = g.picks.below(5)
    if kind == 0:
        change(g, request_v=g.usual_v - g.picks.one((0.6, 0.05, 2.5)) * g.share)
    elif kind == 1:
        change(g, request_a=g.picks.one((20.0, 8.0, 2.0)))
    elif kind == 2:
        change(g, request_v=g.usual_v + g.picks.one((0.4, 1.5, 6.0)) * g.share)
    elif kind == 3:
        change(g, request_a=g.picks.one((90.0, 180.0, 60.0)))
    else:
        usual(g)
    g.go(g.picks.one((10, 3, 25, 1)))


@deed(2)
def zero(g: Growing) -> None:
    """A pack, or all of them, ask for 0 A, for a while."""
    before = g.asks
    change(g, request_a=0.0)
    g.go(beside(g, g.settings.zero_s) + g.picks.one((2, 8)))
    g.asks = before
    g.go(g.picks.one((6, 15, 1)))


@deed()
def reached(g: Growing) -> None:
    """Nothing happens until even a patient charger gives what is asked for."""
    idle(g)
    g.go(patient(g))


@deed(2)
def hanging(g: Growing) -> None:
    """Voltage is asked for, step after step, or more samples come with old messages between."""
    g.every = g.picks.one((2, 3, 1))
    while g.every * g.dt >= g.settings.stale_s and g.every > 1:
        g.every -= 1
    g.go(20)
    g.every = 1


@deed(3)
def wire_off(g: Growing) -> None:
    """The wire comes off, until messages are old or packs are silent; and back it comes, mostly."""
    s = g.settings
    until_s = g.picks.one((s.stale_s, s.silent_s, s.stale_s + 3.0, s.silent_s, s.silent_s + 6.0))
    g.go(min(beside(g, until_s), MANY), packs=[None] * s.packs)
    if g.picks.below(4):
        talk(g, g.picks.one((4, 10, -3)))


@deed(2)
def one_silent(g: Growing) -> None:
    """One pack falls silent; another goes on, and asks for less."""
    s = g.settings
    silent = g.picks.below(s.packs)

    def rest() -> list[Message | None]:
        return [None if p == silent else ask for p, ask in enumerate(g.asks)]

    before = g.asks
    g.go(beside(g, s.stale_s), packs=rest())
    low_v = s.fallback_v - g.picks.one((0.6, 0.1, -1.0)) * g.share
    low_a = g.picks.one((8.0, 2.0, 0.0))
    g.asks = [evolve(ask, request_v=low_v, request_a=low_a) for ask in g.asks]
    g.go(g.picks.one((4, 6)), packs=rest())
    if g.picks.below(2):
        g.go(min(beside(g, s.silent_s), MANY), packs=rest())
    g.asks = before
    talk(g, g.picks.one((3, 10)))


@deed(2)
def stammer(g: Growing) -> None:
    """Contact for less than it takes to follow, and none for long enough to get old."""
    s = g.settings
    for _ in range(g.picks.one((4, 3, 6))):
        g.go(min(beside(g, s.stale_s) + 1, 12), packs=[None] * s.packs)
        g.go(max(g.samples(s.steady_s * g.picks.one((0.7, 0.5, 0.3))) - 1, 1))
    g.go(min(beside(g, s.stale_s) + 1, 12), packs=[None] * s.packs)
    talk(g, g.picks.one((2, 8)))


def garbled(g: Growing, ask: Message) -> Message:
    """A message that cannot be believed."""
    s = g.settings
    low_v, high_v = s.plausible_v
    return g.picks.one(
        (
            evolve(ask, request_v=655.35, request_a=655.35),
            evolve(ask, request_v=nan),
            evolve(ask, request_a=nan),
            evolve(ask, request_v=0.0, request_a=0.0),
            evolve(ask, request_a=-5.0),
            evolve(ask, request_v=high_v + 0.001, request_a=s.plausible_a + 1.0),
            evolve(ask, request_v=low_v - 0.001),
            evolve(ask, request_v=inf, request_a=inf),
            evolve(ask, request_v=ask.request_v + 0.5, request_a=90.0, age_s=nan),
            evolve(ask, request_a=90.0, age_s=-4.0),
            evolve(ask, request_a=s.plausible_a + 1.0),
        )
    )


@deed(3)
def garbled_now_and_then(g: Growing) -> None:
    """Single messages cannot be believed, good ones between them."""
    for _ in range(g.picks.one((3, 2, 5))):
        which = g.picks.below(g.settings.packs)
        row: list[Message | None] = list(g.asks)
        row[which] = garbled(g, g.asks[which])
        g.go(1, packs=row)
        g.go(g.picks.one((3, 5)))


@deed(3)
def garbage_on_time(g: Growing) -> None:
    """From one moment on a pack says nothing that can be believed, at every sample."""
    s = g.settings
    which = g.picks.below(s.packs)
    if g.picks.below(3) == 0:
        g.go(beside(g, s.stale_s) + 1, packs=[None] * s.packs)
    row: list[Message | None] = list(g.asks)
    row[which] = garbled(g, g.asks[which])
    until_s = g.picks.one((s.stale_s + 2.0, s.silent_s + 2.0))
    g.go(min(beside(g, until_s), MANY), packs=row)
    talk(g, g.picks.one((2, 8)))


@deed()
def no_age(g: Growing) -> None:
    """Nobody knows how old messages are, for longer than it takes to follow."""
    age_s = g.picks.one((nan, -4.0, inf, 3600.0, nan))
    packs: list[Message | None] = [evolve(ask, age_s=age_s) for ask in g.asks]
    g.go(min(beside(g, g.settings.steady_s + g.settings.stale_s) + 3, MANY), packs=packs)
    talk(g, 3)


@deed(2)
def gap(g: Growing) -> None:
    """No sample for longer than is continuous, or for just as long."""
    s = g.settings
    if g.picks.below(3) == 0:
        g.go(beside(g, s.stale_s) + 1, packs=[None] * s.packs)
        g.go(max(g.samples(s.steady_s * 0.6), 1))
    long_s = g.picks.one((s.max_gap_s + 0.5, 40.0, s.max_gap_s, s.max_gap_s * 1.5))
    g.go(1, first_after_s=long_s)
    talk(g, g.picks.one((4, 10)))


@deed(2)
def set_back(g: Growing) -> None:
    """The clock is set back, before or in a silence."""
    s = g.settings
    silent: list[Message | None] = [None] * s.packs
    if g.picks.below(2):
        g.go(g.samples(s.stale_s + 2.0), packs=silent)
    back_s = g.picks.one((-3600.0, -10.0, -50.0, -0.5))
    g.go(1, first_after_s=back_s, packs=silent)
    if g.picks.below(4) == 0:
        for _ in range(g.picks.one((3, 6))):
            g.go(4, packs=silent)
            g.go(1, first_after_s=-4.0 * g.dt, packs=silent)
    g.go(min(beside(g, g.picks.one((s.silent_s, s.stale_s, s.silent_s + 5.0))), MANY), packs=silent)
    talk(g, g.picks.one((2, 8)))


@deed(2)
def no_stamp(g: Growing) -> None:
    """Samples without a stamp, in which packs ask for something else."""
    for _ in range(2):
        other = [
            evolve(
                ask,
                request_a=g.picks.one((90.0, 0.0, ask.request_a)),
                request_v=ask.request_v + g.picks.one((0.0, -2.0, 0.5)) * g.share,
            )
            for ask in g.asks
        ]
        g.go(g.picks.one((2, 1)), packs=list(other), stamped=False)
        g.go(g.picks.one((3, 6)))


@deed(2)
def power_lost(g: Growing) -> None:
    """Power is lost, while everybody speaks on or nobody does."""
    s = g.settings
    kind = g.picks.below(3)
    if kind == 0 and g.said.state is not Conduct.FOLLOWING:
        g.go(max(g.samples(s.steady_s * 0.7), 1))
    g.power_cycle()
    if kind == 1:
        g.go(g.picks.one((5, 12)), packs=[None] * s.packs)
    talk(g, g.picks.one((2, 12)))
