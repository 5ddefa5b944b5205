"""EQUALISE: when an equalisation may start, and what ends it."""

from __future__ import annotations

from collections.abc import Iterable

from harness.rules.equalising import (
    AFTER,
    ALLOWED,
    BREAK,
    COOL,
    CURRENT,
    DUE,
    FROM_FLOAT,
    HEAT,
    LOSS,
    REMEMBERED,
    RETRY,
    STARTS,
    TIME,
    WHOLE,
    equalisations,
)
from harness.rules.full import NO_RESET, resets
from harness.rules.request import ASKS, requests
from harness.rules.requirement import Check, Requirement


def _of(
    name: str,
    title: str,
    statement: str,
    reason: str,
    *,
    check: Check = equalisations,
    features: Iterable[str] = (),
) -> Requirement:
    return Requirement(
        id=name,
        title=title,
        statement=statement,
        reason=reason,
        check=check,
        features={"equalisation", *features},
    )


REQUIREMENTS = (
    Requirement(
        id=ALLOWED,
        title="no equalisation where none is set",
        statement="Without `equalisation_v` the stage is never equalisation, whatever is asked.",
        reason="A sealed or a lithium battery that is equalised is damaged, and can be dangerous.",
        check=equalisations,
    ),
    _of(
        FROM_FLOAT,
        "equalisation starts from float",
        "Equalisation is entered only from float.",
        "A battery that is not charged yet gasses and heats to no purpose.",
    ),
    _of(
        DUE,
        "none that is not due",
        "Equalisation is entered only when it is due: by a request that is in force, or "
        "`equalisation_every_s` after the last one was completed or, before there was one, after the "
        "first valid sample since power-up.",
        "Each one costs water and plates: more of them than needed shorten the battery's life.",
    ),
    _of(
        STARTS,
        "one that is due starts",
        "At a sample in float, later than the one on which float was entered, at which an "
        "equalisation is due and no other rule of float ends it, charging current flows, the "
        "temperature is within its bound and no earlier one forbids it, the stage becomes "
        "equalisation.",
        "Cells that are never brought together drift apart until the weakest one fails.",
    ),
    _of(
        COOL,
        "none in the warm, or blind",
        "Where `equalisation_max_c` is set, equalisation is entered only at a sample whose hottest "
        "reading is there and not above it.",
        "A warm battery takes more current at the same voltage, and gets warmer by it.",
    ),
    _of(
        CURRENT,
        "none without charging current",
        "Equalisation is entered only at a sample at which the current is above 0.",
        "Without current the timer runs, and nothing is equalised.",
    ),
    _of(
        HEAT,
        "heat ends it",
        "When the hottest reading has been absent or above `equalisation_max_c` for `trip_dwell_s` in "
        "equalisation, the stage becomes float at that sample.",
        "Gassing heats; a battery that runs away by it does not stop by itself.",
    ),
    _of(
        LOSS,
        "loss of current ends it",
        "When no charging current has flowed for `equalisation_loss_s` in equalisation, the stage "
        "becomes float at that sample.",
        "The sun is gone: what was not done is done another day, and not counted as done.",
    ),
    _of(
        BREAK,
        "a break in time ends it",
        "At a valid sample in equalisation more than `max_gap_s` after the valid one before it, or "
        "whose stamp lies before that one's, the stage becomes float.",
        "What the battery did at its highest voltage while nobody looked is not known.",
    ),
    _of(
        TIME,
        "never longer than its time",
        "At the sample at which an equalisation has lasted `equalisation_s` the stage becomes float.",
        "Every minute at this voltage makes hydrogen.",
    ),
    _of(
        WHOLE,
        "not shorter without a reason",
        "Equalisation is not left for float before `equalisation_s`, unless by heat, loss of current or "
        "a break in time.",
        "Half an equalisation that counts as a whole one leaves the cells apart for another month.",
    ),
    _of(
        AFTER,
        "it leads to float",
        "Equalisation is left only for float, or for inhibited by a trip of protection.",
        "The battery is as full as it gets; another charge to the top would only cost water.",
    ),
    _of(
        RETRY,
        "one that was abandoned is not tried again at once",
        "After an equalisation was abandoned, by whatever it was, none is entered before "
        "`equalisation_retry_s` has passed.",
        "A battery that was too warm is still too warm a minute later.",
    ),
    _of(
        NO_RESET,
        "no full reset in it or by it",
        "No full reset is reported while the stage is equalisation, nor on the sample on which it ends.",
        "It proves nothing about the state of charge: the gas takes the current.",
        check=resets,
        features={"full_reset"},
    ),
    _of(
        ASKS,
        "it asks for its own voltage",
        "In equalisation the voltage asked for is `equalisation_v`, shifted by the temperature.",
        "A lower voltage does not equalise, and a higher one is more than anyone has agreed to.",
        check=requests,
        features={"requests"},
    ),
    _of(
        REMEMBERED,
        "a request is remembered until it is done",
        "A request stays in force until an equalisation is completed, also one that was abandoned; a "
        "loss of power ends it.",
        "Somebody asked for it at noon; the battery is in float at three.",
    ),
)
