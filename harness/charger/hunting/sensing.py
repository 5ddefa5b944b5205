"""What can happen while there is something to compensate: holding, limits, bad readings, a line."""

from __future__ import annotations

from math import inf, nan

from attrs import evolve

from harness.charger.hunting.growing import Growing
from harness.charger.hunting.line import Branch
from harness.charger.hunting.moves import (
    MANY,
    Deed,
    beside,
    change,
    idle,
    kept_in,
    reading,
    talk,
    usual,
)

DEEDS: list[Deed] = []
deed = kept_in(DEEDS)
# What a pack reads, beside what it asks for, V.
LACKS_V = (0.06, 0.3, 0.03, 1.2, 0.15)


@deed(5)
def lacking(g: Growing) -> None:
    """The charger holds its voltage, and packs read too little or too much for long."""
    s = g.settings
    usual(g)
    reading(g, 0.0)
    talk(g)
    lacks_v = g.picks.one(LACKS_V) * g.picks.one((1.0, -1.0, 1.0))
    reading(g, lacks_v)
    off_v = g.picks.one((0.0, 0.04, -0.04)) * s.regulation_v / 0.1
    g.holds = (off_v, g.picks.one((0.2, 0.5)))
    if s.packs > 1 and g.picks.below(2):
        other = g.picks.below(s.packs)
        asked_v = g.asks[0].request_v
        near_v = g.picks.one((0.0, 0.01, 0.03))
        g.asks[other] = evolve(g.asks[other], pack_v=asked_v + near_v)
    g.go(min(g.samples(2.0 * s.sense_time_s) + 3, 2 * MANY))
    if g.picks.below(2):
        reading(g, -g.picks.one((0.05, 0.3)))
        g.go(min(g.samples(2.0 * s.sense_time_s) + 3, 2 * MANY))


@deed(2)
def fixed_voltage(g: Growing) -> None:
    """Its terminals stand at what was asked for, whatever it gives; the packs read less, or more."""
    s = g.settings
    usual(g)
    reading(g, g.picks.one((0.06, 0.3, -0.06, -0.3)))
    own_v = min(g.usual_v, s.highest_v) + g.picks.one((0.0, 0.05, -0.05)) * s.regulation_v / 0.1
    g.holds = (0.0, 0.2)
    g.own = (own_v, None)
    g.go(min(g.samples(2.0 * s.sense_time_s) + beside(g, s.steady_s) + 5, 2 * MANY))
    g.own = (None, None)


@deed(4)
def not_learning(g: Growing) -> None:
    """Packs read too little, and something forbids to compensate for it."""
    s = g.settings
    usual(g)
    reading(g, g.picks.one((0.3, 0.06, 1.2)))
    kind = g.picks.below(4)
    if kind == 0:
        g.holds = (-4.0 * s.regulation_v, 0.4)
    elif kind == 1:
        g.holds = (0.0, g.picks.one((0.995, 1.0)))
    elif kind == 2:
        g.holds = (3.0 * s.regulation_v, 0.1)
    else:
        g.holds = (-0.5 * s.regulation_v, 0.2)
        change(g, request_a=0.0)
    talk(g, g.picks.one((30, 50)))
    usual(g)
    idle(g)


@deed(4)
def bad_readings(g: Growing) -> None:
    """Packs read too little, and one reading is missing, impossible, or frozen."""
    s = g.settings
    usual(g)
    reading(g, g.picks.one((0.3, 0.06)))
    g.holds = (0.0, 0.2)
    talk(g, 5)
    which = g.picks.below(s.packs)
    before = g.asks
    if g.picks.below(2):
        pack_v = g.picks.one((nan, 0.0, 655.35, nan, s.plausible_v[0] - 0.5))
        g.asks = [evolve(a, pack_v=pack_v) if p == which else a for p, a in enumerate(before)]
        g.go(g.picks.one((20, 40)))
    else:
        g.flickers = False
        g.go(min(g.samples(2.5 * s.frozen_s), 2 * MANY))
        g.flickers = True
    g.asks = before
    g.go(g.picks.one((3, 8)))
    idle(g)


@deed(2)
def own_meter(g: Growing) -> None:
    """Packs read too little, and the charger cannot read itself."""
    usual(g)
    reading(g, g.picks.one((0.3, 0.06)))
    g.holds = (0.0, 0.2)
    talk(g, 5)
    g.own = g.picks.one(((nan, None), (None, nan), (0.0, None), (None, inf), (nan, nan)))
    g.go(g.picks.one((30, 15)))
    g.own = (None, None)
    g.go(3)
    idle(g)


@deed(4)
def through_a_line(g: Growing) -> None:
    """The charger holds its voltage behind a line: what it gives is what the packs read."""
    s = g.settings
    usual(g)
    emptier_v = g.picks.one((0.4, 1.0, 0.15)) * g.share
    asked_v = min(g.usual_v, s.highest_v)
    g.branches = tuple(
        Branch(
            source_v=asked_v - emptier_v,
            pack_ohm=g.picks.one((0.02, 0.05, 0.1)),
            cable_ohm=g.picks.one((0.01, 0.05, 0.002)),
            meter_v=g.picks.one((0.0, 0.03, -0.03, -0.1)),
        )
        for _ in range(s.packs)
    )
    talk(g)
    g.go(min(g.samples(g.picks.one((2.5, 4.0)) * s.sense_time_s), 2 * MANY))
    kind = g.picks.below(4)
    if kind == 0:
        g.most_a = 1.0
        g.go(25)
        g.most_a = inf
        g.go(10)
    elif kind == 1:
        g.go(beside(g, s.stale_s) + 2, packs=[None] * s.packs)
        talk(g, 20)
    elif kind == 2:
        fuller_v = 0.5 * emptier_v
        g.branches = tuple(evolve(b, source_v=b.source_v + fuller_v) for b in g.branches)
        g.go(40)
    idle(g)
