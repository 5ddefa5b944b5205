"""What a reason is: a cause, and a chain of sentences that leads from it to a number."""

from __future__ import annotations

from enum import Enum
from math import nan

from attrs import frozen


def plain(value: float) -> str:
    """A number with as many digits as it has, at most six."""
    return f"{value:.6g}"


class Cause(Enum):
    """Why a pack was not called full; the value is how it is told in a few words."""

    HEALTHY = "healthy"
    NOT_CHARGED = "not charged so far"
    CHARGER_LOW = "the charger stays too low"
    WIRING = "wiring"
    METER_OFFSET = "meters that differ"
    WIRING_OR_METERS = "wiring or meters"
    DWELL_FLICKER = "the entry voltage does not stand"
    CLOUD = "too little sun"
    LOAD_AT_RECHECK = "a load at the recheck"
    LEAD_PACK_EARLY = "another pack finished first"
    GAP = "a gap"
    POWER_LOST = "power was lost"
    CLOCK_JUMP = "the clock was set back"
    PROTECTION = "protection"
    TAPER = "the current stays too high"
    WRONG_SETTINGS = "other settings than it should have"
    DRIFTED_COUNTER = "the count drifts"
    UNKNOWN = "unknown"


class Sure(Enum):
    """How sure one can be; the value is how it is told."""

    SHOWN = "shown by a replay"
    READ = "read off the log"
    GUESSED = "a guess"


@frozen
class Link:
    """One link of the chain.

    Attributes:
        sentence: in plain words.
        t: when, s since the first row; NaN where it is about no moment.
        margin: how much was missing, or is left, in `unit`; NaN where nothing is measured.
        unit: `mV`, `s`, `A`, `mOhm`, `%`, or empty.
        rule: id of the requirement that it follows from; empty where it follows from none.
    """

    sentence: str
    t: float = nan
    margin: float = nan
    unit: str = ""
    rule: str = ""


@frozen
class Reason:
    """Why one pack was not called full on one day, or that it was.

    Attributes:
        pack: name of the pack.
        day: number of the day.
        cause: the cause.
        chain: from what the user sees down to a number.
        sure: how sure it is.
        t: the moment that decides, s since the first row; NaN where there is none.
        amount: the number at the end of the chain, in `unit`.
        unit: see `amount`.
    """

    pack: str
    day: int
    cause: Cause
    chain: tuple[Link, ...]
    sure: Sure
    t: float = nan
    amount: float = nan
    unit: str = ""
