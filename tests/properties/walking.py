"""Walks through a trace, by the reference and by the compiled rules, with everything written down."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import frozen

from ctrl.compiled import Replay, replay
from ctrl.controller import Output, State, power_cycle, request_equalisation, start, step
from ctrl.resets import VOLTAGE_AFTER_HOLD, ResetRule
from ctrl.settings import Settings
from ctrl.state import Sample
from tests.properties.generated import Walk

# What of a trace is given as columns: all that the compiled rules know, or only the required ones.
ALL_COLUMNS = ("cell_max_v", "temp_c", "temp_max_c")


@frozen(eq=False)
class Said:
    """Everything that one engine says to a whole trace; comparable bit by bit.

    Attributes:
        stage: one entry a sample, as in `Output`; so are the others but the last.
        soc: counts.
        news: what happened.
        voltage_v: voltages asked for.
        current_a: currents asked for.
        state: the state after the last sample.
    """

    stage: npt.NDArray[np.int8]
    soc: npt.NDArray[np.float64]
    news: npt.NDArray[np.int32]
    voltage_v: npt.NDArray[np.float64]
    current_a: npt.NDArray[np.float64]
    state: State

    def bits(self) -> tuple[bytes | str, ...]:
        """The same as what can only be equal if every bit is."""
        columns = (self.stage, self.soc, self.news, self.voltage_v, self.current_a)
        return (*(column.tobytes() for column in columns), repr(self.state))


def outputs(
    settings: Settings, walk: Walk, rule: ResetRule = VOLTAGE_AFTER_HOLD
) -> tuple[list[Output], list[State]]:
    """The reference, sample by sample: what it says, and the state after each sample."""
    state = start(walk.soc)
    said: list[Output] = []
    states: list[State] = []
    for k, sample in enumerate(walk.samples):
        if k in walk.power_cycles:
            state = power_cycle(state)
        if k in walk.requests:
            state = request_equalisation(settings, state)
        state, output = step(settings, state, sample, rule)
        said.append(output)
        states.append(state)
    return said, states


def stepped(settings: Settings, walk: Walk, rule: ResetRule = VOLTAGE_AFTER_HOLD) -> Said:
    """The reference, sample by sample, as columns."""
    said, states = outputs(settings, walk, rule)
    return Said(
        np.array([output.stage for output in said], np.int8),
        np.array([output.soc for output in said]),
        np.array([output.news for output in said], np.int32),
        np.array([output.voltage_request_v for output in said]),
        np.array([output.current_request_a for output in said]),
        states[-1],
    )


def replayed(
    settings: Settings,
    walk: Walk,
    rule: ResetRule = VOLTAGE_AFTER_HOLD,
    cuts: frozenset[int] = frozenset(),
    optional: tuple[str, ...] = ALL_COLUMNS,
) -> Said:
    """The compiled rules, in one piece or cut before the samples at `cuts`."""
    state = start(walk.soc)
    edges = sorted({0, len(walk.samples), *cuts, *walk.power_cycles, *walk.requests})
    parts: list[Replay] = []
    for begin, end in pairwise(edges):
        if begin in walk.power_cycles:
            state = power_cycle(state)
        if begin in walk.requests:
            state = request_equalisation(settings, state)
        part = replay(settings, state, **arrays(walk.samples[begin:end], optional), rule=rule)
        state = part.state
        parts.append(part)
    return Said(
        np.concatenate([part.stage for part in parts]),
        np.concatenate([part.soc for part in parts]),
        np.concatenate([part.news for part in parts]),
        np.concatenate([asked_v(part) for part in parts]),
        np.concatenate([asked_a(part) for part in parts]),
        state,
    )


def arrays(samples: tuple[Sample, ...], optional: tuple[str, ...]) -> dict[str, Any]:
    """The samples as columns by name; an optional one that is not named is left out."""
    names = ("t", "v", "i", *optional)
    return {name: np.array([getattr(sample, name) for sample in samples]) for name in names}


def asked_v(part: Replay) -> npt.NDArray[np.float64]:
    """The voltages asked for, which must be there."""
    assert part.voltage_request_v is not None
    return part.voltage_request_v


def asked_a(part: Replay) -> npt.NDArray[np.float64]:
    """The currents asked for, which must be there."""
    assert part.current_request_a is not None
    return part.current_request_a
