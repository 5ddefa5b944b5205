"""The fast tier: an endless, seeded sweep of traces, each with the reference's answers."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from attrs import frozen

from ctrl.settings import Settings
from harness.run import FEATURES, Answers, Case
from harness.strategies.choices import (
    CHOICES,
    HEAD_CHOICES,
    MOST_SEGMENTS,
    SEGMENT_CHOICES,
)
from harness.strategies.grow import grown
from harness.strategies.settings_choices import SETTINGS_CHOICES, settings_from

# So many traces in a row have the same settings: to check settings costs as much as a trace.
SAME_SETTINGS = 16


@frozen(eq=False)
class Swept:
    """One trace of a sweep.

    Attributes:
        number: its place in the sweep, from 0.
        case: the trace with its settings; the id is `hunt/SEED-NUMBER`.
        said: what the reference answers to it.
    """

    number: int
    case: Case
    said: Answers


def sweep(
    seed: int,
    *,
    settings: Settings | None = None,
    features: frozenset[str] = frozenset(FEATURES),
    start: int = 0,
) -> Iterator[Swept]:
    """Traces without end; the one of a number depends on the seed and that number only.

    Args:
        seed: 0 or more.
        settings: those of every trace; None draws them.
        features: what the controller claims; what needs another one is not tried.
        start: number of the first trace.

    Raises:
        ValueError: a negative seed or start.
    """
    if seed < 0 or start < 0:
        raise ValueError(f"a sweep of seed {seed} from {start}; both must be 0 or more")
    group = start // SAME_SETTINGS
    while True:
        rng = np.random.default_rng((seed, group))
        drawn = rng.integers(0, CHOICES, SETTINGS_CHOICES)
        heads = rng.integers(0, CHOICES, (SAME_SETTINGS, HEAD_CHOICES))
        used = rng.integers(2, MOST_SEGMENTS + 1, SAME_SETTINGS)
        segments = rng.integers(0, CHOICES, (SAME_SETTINGS, MOST_SEGMENTS, SEGMENT_CHOICES))
        first = group * SAME_SETTINGS
        cases = grown(
            [f"hunt/{seed}-{first + k}" for k in range(SAME_SETTINGS)],
            settings or settings_from(drawn.tolist(), features),
            heads,
            segments,
            used,
            power_cycles="power_cycle" in features,
        )
        for k, (case, said) in enumerate(cases):
            if first + k >= start:
                yield Swept(first + k, case, said)
        group += 1
