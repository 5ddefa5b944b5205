"""The tier that shrinks: the same settings and traces as strategies of Hypothesis.

Choices are drawn as bytes. Hypothesis takes bytes away and lowers them, and 0 is the plainest choice
of everything, and a segment of zeros none at all; so what it ends with is short and plain. All
segments are one draw, because a draw costs Hypothesis more than a trace costs us.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

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

ALL_FEATURES = frozenset(FEATURES)


@frozen(eq=False)
class Drawn:
    """One drawn case.

    Attributes:
        case: settings and trace; the id is `drawn`.
        said: what the reference answers to it.
    """

    case: Case
    said: Answers

    def __repr__(self) -> str:
        """What a failing property test prints: all that is needed to see it again."""
        case = self.case
        columns = {name: case.trace.column(name).tolist() for name in case.trace.columns}
        return (
            f"Drawn(settings={case.settings!r}, soc={case.soc!r}, "
            f"power_cycles={case.power_cycles!r}, columns={columns!r})"
        )


def settings(features: frozenset[str] = ALL_FEATURES) -> SearchStrategy[Settings]:
    """Valid settings: every word, every setting that may be off, short timers, narrow margins.

    Args:
        features: what the controller claims (`harness.run.FEATURES`); what needs another one is off.
    """
    return st.binary(min_size=SETTINGS_CHOICES, max_size=SETTINGS_CHOICES).map(
        lambda choices: settings_from(choices, features)
    )


def cases(
    of: Settings | SearchStrategy[Settings] | None = None,
    *,
    features: frozenset[str] = ALL_FEATURES,
    most_segments: int = MOST_SEGMENTS,
) -> SearchStrategy[Drawn]:
    """Cases whose traces aim at the decisions of their settings, with the reference's answers.

    Args:
        of: the settings, or a strategy for them; None for `settings(features)`.
        features: what the controller claims; without `power_cycle` no power is lost.
        most_segments: how many segments a trace may have; one has some 5 to 50 samples.

    Raises:
        ValueError: `most_segments` is less than 1 or more than `MOST_SEGMENTS`.
    """
    if not 1 <= most_segments <= MOST_SEGMENTS:
        raise ValueError(f"most_segments is {most_segments}; it must be 1 to {MOST_SEGMENTS}")
    power_cycles = "power_cycle" in features
    size = HEAD_CHOICES + SEGMENT_CHOICES * most_segments
    if of is None:
        size += SETTINGS_CHOICES
        # One draw: of two, Hypothesis would try to put the one in the other's place.
        return st.binary(min_size=size, max_size=size).map(
            lambda drawn: _drawn(
                settings_from(drawn[:SETTINGS_CHOICES], features),
                drawn[SETTINGS_CHOICES:],
                power_cycles,
            )
        )
    return st.builds(
        lambda own, rest: _drawn(own, rest, power_cycles),
        st.just(of) if isinstance(of, Settings) else of,
        st.binary(min_size=size, max_size=size),
    )


def _drawn(own: Settings, drawn: bytes, power_cycles: bool) -> Drawn:
    choices = np.frombuffer(drawn, np.uint8).astype(np.int64) % CHOICES
    rows = choices[HEAD_CHOICES:].reshape(-1, SEGMENT_CHOICES)
    kept = rows[rows.any(axis=1)]
    if not len(kept):
        kept = rows[:1]
    case, said = grown(
        ["drawn"],
        own,
        choices[np.newaxis, :HEAD_CHOICES],
        kept[np.newaxis],
        np.array([len(kept)]),
        power_cycles=power_cycles,
    )[0]
    return Drawn(case, said)
