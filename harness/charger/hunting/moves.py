"""What deeds are made of: how long something lasts, who asks for what, and what is read."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, inf
from typing import Any

from attrs import evolve

from harness.charger.hunting.growing import Growing

Deed = Callable[[Growing], None]
# The longest stretch of samples alike; a few are twice or three times as long.
MANY = 90


def kept_in(deeds: list[Deed]) -> Callable[..., Callable[[Deed], Deed]]:
    """A decorator that keeps a function in a list, as often as it may be picked."""

    def deed(often: int = 1) -> Callable[[Deed], Deed]:
        def keep(done: Deed) -> Deed:
            deeds.extend([done] * often)
            return done

        return keep

    return deed


def beside(g: Growing, seconds: float) -> int:
    """Samples up to the end of a time, or a few less or more."""
    return max(ceil(seconds / g.dt - 1e-9) + g.picks.one((1, 2, 0, 3, -1, 1)), 1)


def talk(g: Growing, more: int = 0) -> None:
    """Everybody speaks until the charger must follow, and a little more."""
    g.go(beside(g, g.settings.steady_s) + more)


def change(g: Growing, **changes: Any) -> None:
    """Change what one pack asks for, or all of them."""
    which = g.picks.below(g.settings.packs + 1)
    g.asks = [
        evolve(ask, **changes) if which in (p, g.settings.packs) else ask
        for p, ask in enumerate(g.asks)
    ]


def usual(g: Growing) -> None:
    """Everybody asks for the usual again, with time for it."""
    g.asks = [evolve(ask, request_v=g.usual_v, request_a=50.0) for ask in g.asks]


def reading(g: Growing, below_v: float) -> None:
    """Every pack reads so much less than the lowest request, V; and there is no line."""
    g.branches = None
    asked_v = min(min(ask.request_v for ask in g.asks), g.settings.highest_v)
    g.asks = [evolve(ask, pack_v=asked_v - below_v, pack_a=20.0) for ask in g.asks]


def idle(g: Growing) -> None:
    """The set-point is not what bounds the charge."""
    g.branches = None
    g.holds = (-2.0 * g.share, 0.25)
    g.most_a = inf
