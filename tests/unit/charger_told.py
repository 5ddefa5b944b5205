"""Short ways to tell a charger something, for tests that are worked by hand.

A mountain hut with packs of 16 cells. `asks` is a good message; `FOLLOWS` is a charger that has been
following one pack for a while, at 56 V and 100 A, and heard it last at 100 s.
"""

from __future__ import annotations

from math import nan
from typing import Any

from attrs import evolve

from ctrl.charger import (
    Charger,
    ChargerOutput,
    ChargerSample,
    ChargerSettings,
    ChargerState,
    Conduct,
    Heard,
    Message,
    charger_step,
)

ONE = ChargerSettings()
QUIET = Message()
FOLLOWS = ChargerState(
    t=100.0,
    conduct=Conduct.FOLLOWING,
    fresh_since_s=0.0,
    base_v=56.0,
    limit_a=100.0,
    compensation_v=0.0,
    packs=(Heard(56.0, 100.0, 100.0, 55.7, 50.0, 99.0),),
)


def asks(
    voltage_v: float = 56.0,
    current_a: float = 100.0,
    *,
    reads_v: float = 55.7,
    reads_a: float = 50.0,
    age_s: float = 0.0,
) -> Message:
    return Message(voltage_v, current_a, reads_v, reads_a, age_s)


def at(t: float, *messages: Message, own_v: float = nan, own_a: float = nan) -> ChargerSample:
    return ChargerSample(t, own_v, own_a, messages)


def follows(**changes: Any) -> ChargerState:
    return evolve(FOLLOWS, **changes)


def after(
    sample: ChargerSample, state: ChargerState = FOLLOWS, settings: ChargerSettings = ONE
) -> tuple[ChargerState, ChargerOutput]:
    return charger_step(settings, state, sample)


def done(settings: ChargerSettings, *samples: ChargerSample) -> list[tuple[str, float, float]]:
    """State, set-point (V) and limit (A) at each sample since power-up."""
    charger = Charger(settings)
    outputs = [charger.step(sample) for sample in samples]
    return [(out.state.word, out.set_point_v, out.limit_a) for out in outputs]


def states(settings: ChargerSettings, *samples: ChargerSample) -> list[str]:
    return [word for word, _, _ in done(settings, *samples)]
