"""Every way out of every stage: when, where to, what is said to have happened, and why.

The table says *what then*; `ctrl.stages` decides *when*. Nothing else changes a stage. Within a stage
the first row whose condition is true wins.
"""

from __future__ import annotations

from enum import IntEnum

from attrs import frozen

from ctrl.vocabulary import Cause, Happened, Stage


class Way(IntEnum):
    """The ways out of the stages; `STAY` is none of them."""

    STAY = -1
    TRIP_CELL = 0
    TRIP_TEMPERATURE = 1
    TRIP_NO_READING = 2
    ENTRY_HELD = 3
    BREAK_IN_TIME = 4
    HOLD_OVER = 5
    CONFIRMED = 6
    UNCONFIRMED_TO_FLOAT = 7
    UNCONFIRMED_TO_BULK = 8
    WAITED_TOO_LONG = 9
    VOLTAGE_LOW = 10
    SOC_LOW = 11
    FLOAT_OVER = 12
    ALL_CLEAR = 13
    EQUALISE_BY_REQUEST = 14
    EQUALISE_BY_SCHEDULE = 15
    EQUALISED = 16
    EQUALISING_BROKEN = 17
    EQUALISING_TOO_WARM = 18
    EQUALISING_WITHOUT_CURRENT = 19


@frozen
class Transition:
    """One way out of a stage.

    Attributes:
        way: the name by which the code says that it was taken.
        when: the condition, in the terms of the settings.
        to: the stage after the sample.
        happened: what is said to have happened.
        cause: why, where that does not say it.
    """

    way: Way
    when: str
    to: Stage
    happened: Happened
    cause: Cause = Cause.NONE


_TRIPS = (
    Transition(
        Way.TRIP_CELL,
        "cell_max_v >= cell_limit_v for trip_dwell_s",
        Stage.INHIBITED,
        Happened.INHIBITED,
        Cause.CELL_VOLTAGE,
    ),
    Transition(
        Way.TRIP_TEMPERATURE,
        "temperature outside charge_min_c..charge_max_c for trip_dwell_s",
        Stage.INHIBITED,
        Happened.INHIBITED,
        Cause.TEMPERATURE,
    ),
    Transition(
        Way.TRIP_NO_READING,
        "no valid sample for more than max_gap_s",
        Stage.INHIBITED,
        Happened.INHIBITED,
        Cause.NO_READING,
    ),
)

TRANSITIONS: dict[Stage, tuple[Transition, ...]] = {
    Stage.BULK: (
        *_TRIPS,
        Transition(
            Way.ENTRY_HELD,
            "v >= entry_v for entry_dwell_s",
            Stage.ABSORPTION,
            Happened.HOLD_STARTED,
        ),
    ),
    Stage.ABSORPTION: (
        *_TRIPS,
        Transition(
            Way.BREAK_IN_TIME,
            "a gap longer than max_gap_s, or a stamp that steps back",
            Stage.BULK,
            Happened.HOLD_ABANDONED,
            Cause.DISCONTINUITY,
        ),
        Transition(
            Way.HOLD_OVER,
            "hold timer >= hold_s: from hold to confirm, on the same sample",
            Stage.ABSORPTION,
            Happened.HOLD_EXPIRED,
        ),
        Transition(
            Way.CONFIRMED,
            "after the hold, v >= full_v (and current within taper_a) for confirm_s",
            Stage.FLOAT,
            Happened.FULL_RESET,
        ),
        Transition(
            Way.UNCONFIRMED_TO_FLOAT,
            "after the hold, v < full_v (or current beyond taper_a); on_unconfirmed = float",
            Stage.FLOAT,
            Happened.FULL_DENIED,
        ),
        Transition(
            Way.UNCONFIRMED_TO_BULK,
            "after the hold, v < full_v (or current beyond taper_a); on_unconfirmed = bulk",
            Stage.BULK,
            Happened.FULL_DENIED,
        ),
        Transition(
            Way.WAITED_TOO_LONG,
            "wait_limit_s after the hold; on_unconfirmed = wait",
            Stage.FLOAT,
            Happened.FULL_DENIED,
        ),
    ),
    Stage.FLOAT: (
        *_TRIPS,
        Transition(
            Way.VOLTAGE_LOW,
            "v < return_v for return_dwell_s",
            Stage.BULK,
            Happened.FLOAT_ENDED,
            Cause.LOW_VOLTAGE,
        ),
        Transition(
            Way.SOC_LOW,
            "soc < return_soc",
            Stage.BULK,
            Happened.FLOAT_ENDED,
            Cause.LOW_SOC,
        ),
        Transition(
            Way.FLOAT_OVER,
            "float timer >= float_s",
            Stage.BULK,
            Happened.FLOAT_ENDED,
            Cause.FLOAT_TIMER,
        ),
        Transition(
            Way.EQUALISE_BY_REQUEST,
            "equalisation_v set, requested, current > 0, and not above equalisation_max_c",
            Stage.EQUALISATION,
            Happened.EQUALISATION_STARTED,
            Cause.REQUEST,
        ),
        Transition(
            Way.EQUALISE_BY_SCHEDULE,
            "the same, and equalisation_every_s since the last one",
            Stage.EQUALISATION,
            Happened.EQUALISATION_STARTED,
            Cause.SCHEDULE,
        ),
    ),
    Stage.EQUALISATION: (
        *_TRIPS,
        Transition(
            Way.EQUALISING_BROKEN,
            "a gap longer than max_gap_s, or a stamp that steps back",
            Stage.FLOAT,
            Happened.EQUALISATION_ABANDONED,
            Cause.DISCONTINUITY,
        ),
        Transition(
            Way.EQUALISING_TOO_WARM,
            "above equalisation_max_c, or no temperature, for trip_dwell_s",
            Stage.FLOAT,
            Happened.EQUALISATION_ABANDONED,
            Cause.TEMPERATURE,
        ),
        Transition(
            Way.EQUALISING_WITHOUT_CURRENT,
            "current <= 0 for equalisation_loss_s",
            Stage.FLOAT,
            Happened.EQUALISATION_ABANDONED,
            Cause.LOW_CURRENT,
        ),
        Transition(
            Way.EQUALISED,
            "equalisation_s since it started",
            Stage.FLOAT,
            Happened.EQUALISATION_ENDED,
        ),
    ),
    Stage.INHIBITED: (
        Transition(
            Way.ALL_CLEAR,
            "every tripped cause clear for release_dwell_s",
            Stage.BULK,
            Happened.RELEASED,
        ),
    ),
}

_BY_WAY = {row.way: row for rows in TRANSITIONS.values() for row in rows}
_ROWS = tuple(_BY_WAY[way] for way in Way if way is not Way.STAY)
TO = tuple(row.to for row in _ROWS)
HAPPENED = tuple(int(row.happened) for row in _ROWS)
CAUSE = tuple(int(row.cause) for row in _ROWS)
