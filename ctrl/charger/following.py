"""The states of a charger that listens, and every way between them.

Theory of operation
-------------------

A charger is in one state at a time. `stopped`: it gives no current. `following`: it does what the
packs ask. `fallback`: messages have become old, and it gives a float voltage and little current,
never more than it gave before. `TRANSITIONS` lists, state by state, every way out; nothing else
changes a state.

Each row has a condition about all packs at this sample. *Fresh*: every pack has been heard, and no
message in force is older than `stale_s`. *Silent*: a pack was never heard, or its message in force
is older than `silent_s`. *Steady*: fresh at every sample for `steady_s`, without a break in time.
At most one change of state happens at a sample, and the rows are tried from the top down: a stop
wins over fallback, and a break in time wins over everything but a stop.

Why there is no way from `stopped` to `fallback`. Fallback trusts what a pack said a short while ago.
A charger that has stopped trusts nothing it has heard, and needs steady messages before it gives
current again.

Why a break in time leads to fallback. The charger's own code stood still, or its clock was set. What
the packs did meanwhile is not known, and neither is the age of what they said.
"""

from __future__ import annotations

from enum import IntEnum

from attrs import frozen

from ctrl.charger.settings import ChargerSettings
from ctrl.charger.state import Conduct, Heard
from ctrl.limits import TIME_SLACK_S


class Way(IntEnum):
    """The ways out of the states."""

    PACK_SILENT = 0
    BREAK_IN_TIME = 1
    MESSAGE_OLD = 2
    MESSAGES_STEADY = 3


@frozen
class Transition:
    """One way out of a state.

    Attributes:
        way: the name of the condition.
        when: the condition, in the terms of the settings.
        to: the state after the sample.
    """

    way: Way
    when: str
    to: Conduct


_SILENT = Transition(
    Way.PACK_SILENT,
    "a pack was never heard, or its message in force is older than silent_s",
    Conduct.STOPPED,
)
_STEADY = Transition(
    Way.MESSAGES_STEADY,
    "every pack heard, no message older than stale_s, at every sample for steady_s",
    Conduct.FOLLOWING,
)

TRANSITIONS: dict[Conduct, tuple[Transition, ...]] = {
    Conduct.STOPPED: (_STEADY,),
    Conduct.FALLBACK: (_SILENT, _STEADY),
    Conduct.FOLLOWING: (
        _SILENT,
        Transition(
            Way.BREAK_IN_TIME,
            "a gap longer than max_gap_s, or a stamp that steps back",
            Conduct.FALLBACK,
        ),
        Transition(
            Way.MESSAGE_OLD,
            "the message in force of a pack is older than stale_s",
            Conduct.FALLBACK,
        ),
    ),
}


def oldest_s(packs: tuple[Heard, ...], t: float) -> float:
    """Age of the oldest message in force at `t`, s; infinity where a pack was never heard."""
    return max(t - heard.heard_s for heard in packs)


def all_fresh(settings: ChargerSettings, packs: tuple[Heard, ...], t: float) -> bool:
    """Whether every pack has been heard and no message in force is old."""
    return oldest_s(packs, t) <= settings.stale_s + TIME_SLACK_S


def next_conduct(
    settings: ChargerSettings,
    before: Conduct,
    packs: tuple[Heard, ...],
    t: float,
    joined: bool,
    fresh_since_s: float,
) -> Conduct:
    """The state after a sample.

    Args:
        settings: the charger's settings.
        before: the state before the sample.
        packs: what is remembered of each pack, with the messages of this sample.
        t: time stamp, s; finite.
        joined: whether the sample is continuous with the one before.
        fresh_since_s: since when all messages have been fresh, s; infinity while one is not.
    """
    holds = {
        Way.PACK_SILENT: oldest_s(packs, t) > settings.silent_s + TIME_SLACK_S,
        Way.BREAK_IN_TIME: not joined,
        Way.MESSAGE_OLD: not all_fresh(settings, packs, t),
        Way.MESSAGES_STEADY: t - fresh_since_s >= settings.steady_s - TIME_SLACK_S,
    }
    for row in TRANSITIONS[before]:
        if holds[row.way]:
            return row.to
    return before
