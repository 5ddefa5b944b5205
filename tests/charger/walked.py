"""A drawn trace driven through a charger: what its own meter reads follows what it gives."""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite
from typing import Any

import numpy as np

from ctrl.charger import ChargerSample, ChargerSettings, Message
from harness.charger.attach import Stepper
from harness.charger.case import (
    NO_STAGE,
    PACK_NUMBERS,
    ChargerAnswers,
    ChargerCase,
    ChargerRun,
    ChargerTrace,
)
from harness.run import Identity
from tests.properties.charger_walks import Walk, shaken


def walked(
    made: Callable[[ChargerSettings], Stepper], settings: ChargerSettings, walk: Walk
) -> ChargerRun:
    """The run of a charger through a walk."""
    charger, t, k = made(settings), 0.0, 0
    set_v, limit_a = settings.fallback_v, 0.0
    own: list[tuple[float, float, float]] = []
    said: list[tuple[Message, ...]] = []
    answered: list[tuple[float, float, int]] = []
    for stretch in walk:
        for _ in range(stretch.count):
            t = t + stretch.dt if isfinite(stretch.dt) else t
            off_v, share = stretch.own
            k += 1
            packs = tuple(shaken(message, stretch.shaken * (k % 2)) for message in stretch.packs)
            stamp = t if isfinite(stretch.dt) else stretch.dt
            own.append((stamp, set_v + off_v, share * limit_a))
            said.append(packs)
            output = charger.step(ChargerSample(*own[-1], packs))
            set_v, limit_a = output.set_point_v, output.limit_a
            answered.append((set_v, limit_a, int(output.state)))
    columns: dict[str, Any] = {
        name: np.array([[getattr(message, name) for message in packs] for packs in said])
        for name in PACK_NUMBERS
    }
    columns["stage"] = np.full((len(own), settings.packs), NO_STAGE, np.int8)
    trace = ChargerTrace(*np.array(own).T, **columns)
    set_points, limits, states = zip(*answered, strict=True)
    return ChargerRun(
        ChargerCase("drawn", settings, trace),
        Identity("drawn", "0", "Python", frozenset()),
        ChargerAnswers(np.array(set_points), np.array(limits), np.array(states, np.int8)),
    )
