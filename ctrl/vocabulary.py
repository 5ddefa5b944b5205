"""The words of charge control: stages, phases, causes, and what can happen at a sample.

Every word is an integer inside, so that the same rules run on Python objects and, compiled, on
whole arrays; `.word` is the spelling that traces, vectors and the line protocol use.
"""

from __future__ import annotations

from enum import IntEnum, IntFlag


class Stage(IntEnum):
    """What the controller is doing with the charge."""

    BULK = 0
    ABSORPTION = 1
    FLOAT = 2
    INHIBITED = 3
    EQUALISATION = 4

    @property
    def word(self) -> str:
        """The stage as traces and the line protocol spell it."""
        return self.name.lower()

    @classmethod
    def from_word(cls, word: str) -> Stage:
        """The stage that a trace or an answer names; raises `KeyError` for any other word."""
        return _STAGE_OF_WORD[word]


_STAGE_OF_WORD = {stage.word: stage for stage in Stage}


class Phase(IntEnum):
    """The two phases of absorption; `NONE` in every other stage."""

    NONE = 0
    HOLD = 1
    CONFIRM = 2


class Cause(IntEnum):
    """Why a stage was left, where the event's name alone does not say it."""

    NONE = 0
    DISCONTINUITY = 1
    LOW_VOLTAGE = 2
    LOW_SOC = 3
    FLOAT_TIMER = 4
    CELL_VOLTAGE = 5
    TEMPERATURE = 6
    NO_READING = 7
    SCHEDULE = 8
    REQUEST = 9
    LOW_CURRENT = 10

    @property
    def word(self) -> str:
        """The cause as an event spells it; empty for `NONE`."""
        return "" if self is Cause.NONE else self.name.lower()


class Tripped(IntFlag):
    """The protection causes that hold charging back at the moment."""

    NOTHING = 0
    CELL_VOLTAGE = 1
    TEMPERATURE = 2
    NO_READING = 4


class Happened(IntFlag):
    """What happened at one sample; several can happen at once."""

    NOTHING = 0
    EMPTY_RESET = 1
    INHIBITED = 2
    RELEASED = 4
    HOLD_ABANDONED = 8
    HOLD_STARTED = 16
    HOLD_EXPIRED = 32
    FULL_RESET = 64
    FULL_DENIED = 128
    FLOAT_ENDED = 256
    EQUALISATION_STARTED = 512
    EQUALISATION_ENDED = 1024
    EQUALISATION_ABANDONED = 2048


class OnSag(IntEnum):
    """What a voltage under `sag_v` does to the hold timer."""

    RUN = 0
    PAUSE = 1
    RESTART = 2


class OnUnconfirmed(IntEnum):
    """Where a pack goes whose hold has ended and that is not confirmed full."""

    FLOAT = 0
    BULK = 1
    WAIT = 2
