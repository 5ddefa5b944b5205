"""Settings and traces for a charger, made to hit the edges of its rules.

On this grid every number is a multiple of a power of two, so that sums do not depend on their order.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, isfinite, nan
from typing import Any

from attrs import frozen
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy, composite

from ctrl.charger import (
    ChargerOutput,
    ChargerSample,
    ChargerSettings,
    ChargerState,
    Message,
    charger_step,
    start_charger,
)

HAIR = 1 / 64


@composite
def charger_settings(draw: DrawFn) -> ChargerSettings:
    """Settings without contradiction, with short times."""

    def one_of(*choices: float) -> Any:
        return draw(st.sampled_from(choices))

    stale_s = one_of(1.0, 4.0)
    return ChargerSettings(
        packs=draw(st.sampled_from((1, 1, 2, 3))),
        highest_v=one_of(57.0, 56.25),
        highest_a=one_of(128.0, 64.0, 16.0),
        stale_s=stale_s,
        silent_s=stale_s + one_of(0.5, 4.0),
        steady_s=one_of(0.0, 1.0, 3.0),
        fallback_v=one_of(54.0, 56.25),
        fallback_a=one_of(0.0, 8.0),
        compensation_v=one_of(0.0, 0.0625, 0.5),
        compensation_v_per_s=one_of(0.0, 0.015625, 0.25),
        sense_time_s=one_of(8.0, 64.0),
        raise_v_per_s=one_of(0.125, 8.0),
        raise_a_per_s=one_of(4.0, 256.0),
        frozen_s=one_of(0.5, 4.0, 64.0),
        max_gap_s=one_of(2.0, 8.0),
        plausible_v=(32.0, 64.0),
        plausible_a=512.0,
    )


@frozen
class Stretch:
    """Some samples alike.

    Attributes:
        count: how many.
        dt: distance of their stamps, s; one that is not finite stands for the stamp itself.
        own: how far the charger's voltage is from its set-point (V), and its share of the limit.
        packs: one message for each pack.
        shaken: how much each reading of a pack differs from the one before, V.
    """

    count: int
    dt: float
    own: tuple[float, float]
    packs: tuple[Message, ...]
    shaken: float


Walk = tuple[Stretch, ...]


def _messages(settings: ChargerSettings) -> SearchStrategy[Message]:
    volts: Sequence[float] = (56.0,) * 8 + (54.0, 56.25, 57.0, 32.0, 64.0)
    amps: Sequence[float] = (64.0,) * 6 + (0.0, 0.0, 4.0, 8.0, 128.0, 512.0, HAIR)
    bad = (nan, inf, -inf, 64.0 + HAIR, 32.0 - HAIR, -1.0)
    reads = (55.75,) * 4 + (56.0, 55.5, 56.5, 53.0, 32.0)
    ages = (0.0,) * 8 + (0.5, settings.stale_s, settings.stale_s + HAIR, nan, -HAIR, inf)
    good = st.builds(
        Message,
        st.sampled_from(volts),
        st.sampled_from(amps),
        st.sampled_from(reads),
        st.sampled_from((32.0, 16.0, nan)),
        st.sampled_from(ages),
    )
    poor = st.builds(
        Message,
        st.sampled_from((*volts, *bad)),
        st.sampled_from((*amps, 512.0 + HAIR, -HAIR, nan, inf)),
        st.sampled_from((*reads, *bad)),
        st.sampled_from((32.0, nan, inf, 513.0)),
        st.sampled_from(ages),
    )
    return st.one_of(good, good, good, poor, st.just(Message()))


@composite
def charger_walks(draw: DrawFn, settings: ChargerSettings) -> Walk:
    """A trace as stretches of alike samples, some good, some with faults."""
    edges = (settings.max_gap_s, settings.max_gap_s + HAIR, -1.0, -64.0, nan, inf)
    messages = _messages(settings)
    stretch = st.builds(
        Stretch,
        st.sampled_from((1, 1, 2, 5, 12)),
        st.sampled_from((0.5,) * 6 + (1.0,) * 6 + (0.0, 0.125, 2.0, *edges)),
        st.tuples(
            st.sampled_from((0.0,) * 6 + (0.0625, -0.0625, 0.125, -0.125, -3.0, 2.0, nan, inf)),
            st.sampled_from((0.5,) * 6 + (0.0, 1.0, 0.984375, -0.5, nan, inf)),
        ),
        st.tuples(*[messages] * settings.packs),
        st.sampled_from((0.0, HAIR, HAIR)),
    )
    calm = Stretch(
        draw(st.sampled_from((1, 8))),
        0.5,
        (0.0, 0.5),
        (Message(56.0, 64.0, 55.75, 32.0, 0.0),) * settings.packs,
        HAIR,
    )
    return (calm, *draw(st.lists(stretch, min_size=1, max_size=12)))


@composite
def settings_and_charger_walks(draw: DrawFn) -> tuple[ChargerSettings, Walk]:
    """Settings, and a trace that is made for them."""
    settings = draw(charger_settings())
    return settings, draw(charger_walks(settings))


@frozen
class Turn:
    """One sample of a run: the state before it, the sample, the state after it, what was said."""

    before: ChargerState
    sample: ChargerSample
    after: ChargerState
    output: ChargerOutput


def run(settings: ChargerSettings, walk: Walk, shift_s: float = 0.0) -> list[Turn]:
    """The reference through a trace; what its own meter reads follows what it gives."""
    state, t, turns, k = start_charger(settings), shift_s, list[Turn](), 0
    for stretch in walk:
        for _ in range(stretch.count):
            t = t + stretch.dt if isfinite(stretch.dt) else t
            off_v, share = stretch.own
            own_v = state.base_v + state.compensation_v + off_v
            k += 1
            packs = tuple(shaken(message, stretch.shaken * (k % 2)) for message in stretch.packs)
            stamp = t if isfinite(stretch.dt) else stretch.dt
            sample = ChargerSample(stamp, own_v, share * state.limit_a, packs)
            after, output = charger_step(settings, state, sample)
            turns.append(Turn(state, sample, after, output))
            state = after
    return turns


def shaken(message: Message, by_v: float) -> Message:
    """The message with its reading a little higher."""
    return Message(
        message.request_v,
        message.request_a,
        message.pack_v + by_v,
        message.pack_a,
        message.age_s,
        message.stage,
    )


def replayed(settings: ChargerSettings, samples: Sequence[ChargerSample]) -> list[ChargerOutput]:
    """What the reference says to given samples."""
    state, said = start_charger(settings), []
    for sample in samples:
        state, output = charger_step(settings, state, sample)
        said.append(output)
    return said
