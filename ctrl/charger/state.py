"""What goes into a step of the charger, what comes out of it, and what it remembers in between."""

from __future__ import annotations

from enum import IntEnum
from math import inf, nan

from attrs import frozen

from ctrl.vocabulary import Stage


class Conduct(IntEnum):
    """What the rules call the state of the charger: whom it heeds."""

    STOPPED = 0
    FALLBACK = 1
    FOLLOWING = 2

    @property
    def word(self) -> str:
        """The state as traces and the line protocol spell it."""
        return self.name.lower()

    @classmethod
    def from_word(cls, word: str) -> Conduct:
        """The state that a trace or an answer names; raises `KeyError` for any other word."""
        return _CONDUCT_OF_WORD[word]


_CONDUCT_OF_WORD = {conduct.word: conduct for conduct in Conduct}


@frozen
class Message:
    """The last message of one pack's controller, as it lies before the charger at a sample.

    What is missing is NaN. A pack that has said nothing yet is `Message()`.

    Attributes:
        request_v: voltage asked for, V.
        request_a: current asked for, A.
        pack_v: the pack's terminal voltage by its own meter, V.
        pack_a: the pack's current by its own meter, A, positive while charging.
        age_s: how long ago the charger got this message, s.
        stage: the stage of the pack's controller; no rule reads it, None where it is not told.
    """

    request_v: float = nan
    request_a: float = nan
    pack_v: float = nan
    pack_a: float = nan
    age_s: float = nan
    stage: Stage | None = None


@frozen
class ChargerSample:
    """Everything that the charger reads at one moment. What is missing is NaN.

    Attributes:
        t: time stamp, s; the sample is invalid when it is not finite.
        own_v: voltage at the charger's terminals, by its own meter, V.
        own_a: current that it gives, by its own meter, A.
        messages: one for each pack, always in the same order.
    """

    t: float
    own_v: float
    own_a: float
    messages: tuple[Message, ...]


@frozen
class Heard:
    """What the charger remembers of one pack.

    Attributes:
        request_v: voltage asked for by the last good message, V; infinity before there was one.
        request_a: current asked for by it, A; infinity before there was one.
        heard_s: when that message came, s; minus infinity before there was one.
        pack_v: the last believable voltage of a good message, V; NaN before there was one.
        pack_a: the last believable current with such a voltage, A; NaN before there was one.
        changed_s: when one of these two last changed, s; infinity before there was one.
    """

    request_v: float = inf
    request_a: float = inf
    heard_s: float = -inf
    pack_v: float = nan
    pack_a: float = nan
    changed_s: float = inf


@frozen
class ChargerState:
    """Everything that the charger remembers between samples; nothing of it survives a loss of power.

    Attributes:
        t: stamp of the last valid sample, s; NaN before there was one.
        conduct: the state of the charger.
        fresh_since_s: since when every pack's message has been fresh, s; infinity while one is not.
        base_v: set-point without compensation, V.
        limit_a: most current that the charger gives, A.
        compensation_v: what the set-point lies above `base_v`, V.
        packs: what is remembered of each pack.
    """

    t: float
    conduct: Conduct
    fresh_since_s: float
    base_v: float
    limit_a: float
    compensation_v: float
    packs: tuple[Heard, ...]


@frozen
class ChargerOutput:
    """What the charger does after a sample.

    Attributes:
        set_point_v: voltage at its own terminals that it does not exceed, V.
        limit_a: current that it does not exceed, A.
        state: the state of the charger.
    """

    set_point_v: float
    limit_a: float
    state: Conduct
