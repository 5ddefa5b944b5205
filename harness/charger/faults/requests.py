"""Faults in what is made of requests."""

from __future__ import annotations

from math import inf, isfinite, isnan

from attrs import evolve

from ctrl.charger import (
    ChargerOutput,
    ChargerSample,
    ChargerState,
    Conduct,
    Heard,
    Message,
)
from harness.charger.faults.altered import (
    LONG,
    Altered,
    Turned,
    hears,
    messages,
    remembers,
    says,
    set_to,
    turns,
)

STOPPED, FALLBACK, FOLLOWING = Conduct.STOPPED, Conduct.FALLBACK, Conduct.FOLLOWING

set_to(
    "steps-up",
    "It raises everything at once.",
    "FOLLOW.slope",
    raise_a_per_s=LONG,
    raise_v_per_s=LONG,
)


set_to("steps-voltage-up", "It raises the voltage at once.", "FOLLOW.slope", raise_v_per_s=LONG)


set_to(
    "raises-twice-as-fast",
    "It raises the current twice as fast.",
    "FOLLOW.slope",
    raise_a_per_s=lambda s: 2 * s.raise_a_per_s,
)


set_to(
    "never-raises-current",
    "The current rises next to nothing.",
    "FOLLOW.reaches",
    raise_a_per_s=1e-3,
)


set_to(
    "never-raises-voltage",
    "The voltage rises next to nothing.",
    "FOLLOW.reaches",
    raise_v_per_s=1e-4,
)


set_to(
    "unbounded-compensation",
    "Compensation has no bound.",
    "CEILING.voltage",
    "SENSE.bounds",
    compensation_v=50.0,
)


set_to(
    "wide-compensation",
    "Compensation has a third more room.",
    "CEILING.voltage",
    "SENSE.bounds",
    compensation_v=lambda s: s.compensation_v * 4 / 3,
)


set_to(
    "no-highest-voltage",
    "It knows no highest voltage.",
    "CEILING.highest",
    highest_v=lambda s: s.plausible_v[1],
)


set_to(
    "no-highest-current",
    "It knows no highest current.",
    "CEILING.highest",
    highest_a=lambda s: s.plausible_a,
)


set_to(
    "believes-everything",
    "It believes any number.",
    "DOUBT.request",
    "DOUBT.silence",
    plausible_v=(-1e6, 1e6),
    plausible_a=1e6,
)


@hears("PACKS.voltage")
def highest_request(_me: Altered, sample: ChargerSample) -> ChargerSample:
    """It takes the highest voltage that is asked for."""
    top_v = max(m.request_v for m in sample.messages)
    return messages(sample, lambda m: m if isnan(m.request_v) else evolve(m, request_v=top_v))


@hears("PACKS.voltage")
def mean_request(_me: Altered, sample: ChargerSample) -> ChargerSample:
    """It takes the mean of the voltages that are asked for."""
    mean_v = sum(m.request_v for m in sample.messages) / len(sample.messages)
    return messages(sample, lambda m: m if isnan(m.request_v) else evolve(m, request_v=mean_v))


@hears("PACKS.zero")
def adds_without_the_zero(_me: Altered, sample: ChargerSample) -> ChargerSample:
    """It adds the currents, and a pack that asks for 0 A takes nothing off."""
    return messages(sample, lambda m: evolve(m, request_a=1e-6) if m.request_a == 0.0 else m)


@hears("FOLLOW.zero", "PACKS.zero")
def zero_is_no_limit(me: Altered, sample: ChargerSample) -> ChargerSample:
    """It takes 0 A for 'no limit'."""
    return messages(
        sample,
        lambda m: evolve(m, request_a=me.settings.plausible_a) if m.request_a == 0.0 else m,
    )


@says("FOLLOW.zero", "FOLLOW.lowered", "PACKS.zero")
def current_ramps_down(
    me: Altered, before: ChargerOutput, _sample: ChargerSample, is_: ChargerOutput
) -> ChargerOutput:
    """The current falls by a slope, as it rises."""
    return evolve(is_, limit_a=max(is_.limit_a, before.limit_a - me.settings.raise_a_per_s))


@says("FOLLOW.lowered", "STALE.bounds", "STALE.no-rise")
def voltage_ramps_down(
    me: Altered, before: ChargerOutput, _sample: ChargerSample, is_: ChargerOutput
) -> ChargerOutput:
    """The voltage falls by a slope, as it rises."""
    falls_v = me.settings.raise_v_per_s
    return evolve(is_, set_point_v=max(is_.set_point_v, before.set_point_v - falls_v))


@says("FOLLOW.lowered")
def one_sample_late(
    me: Altered, _before: ChargerOutput, _sample: ChargerSample, is_: ChargerOutput
) -> ChargerOutput:
    """Set-point and limit come out one sample late."""
    late: ChargerOutput = me.notes.get("late", is_)
    me.notes["late"] = is_
    return evolve(late, state=is_.state)


@hears("CEILING.current")
def counts_packs_twice(me: Altered, sample: ChargerSample) -> ChargerSample:
    """It gives every pack what the strongest one asks for, and one more."""
    return messages(
        sample, lambda m: evolve(m, request_a=min(m.request_a * 2, me.settings.plausible_a))
    )


@hears("CEILING.current")
def always_gives_all(me: Altered, sample: ChargerSample) -> ChargerSample:
    """It gives all that it may, whatever is asked for."""
    return messages(
        sample,
        lambda m: evolve(m, request_a=me.settings.highest_a) if m.request_a > 0.0 else m,
    )


@hears("CEILING.voltage", "FOLLOW.lowered")
def holds_highest(me: Altered, sample: ChargerSample) -> ChargerSample:
    """It holds the highest voltage that it may, whatever is asked for."""
    return messages(
        sample,
        lambda m: m if isnan(m.request_v) else evolve(m, request_v=me.settings.highest_v),
    )


@turns("FOLLOW.keeps")
def drops_out(me: Altered, before: ChargerState, sample: ChargerSample) -> Turned:
    """It takes the current away for a sample every half minute."""
    after, output = Altered.turns(me, before, sample)
    if after.conduct is FOLLOWING and isfinite(sample.t) and round(sample.t) % 30 == 0:
        after = evolve(after, limit_a=0.0)
    return after, evolve(output, limit_a=after.limit_a)


@says("FOLLOW.keeps")
def sags_when_late(
    _me: Altered, _before: ChargerOutput, sample: ChargerSample, is_: ChargerOutput
) -> ChargerOutput:
    """It takes a quarter of a volt off while a message is a little late."""
    late = is_.state is FOLLOWING and any(m.age_s > 2.0 for m in sample.messages)
    return evolve(is_, set_point_v=is_.set_point_v - 0.25) if late else is_


@hears("DOUBT.request")
def missing_is_zero(_me: Altered, sample: ChargerSample) -> ChargerSample:
    """A request that is missing is a request for 0 A."""
    return messages(sample, lambda m: evolve(m, request_a=0.0) if isnan(m.request_a) else m)


@hears("DOUBT.request", "DOUBT.silence")
def clips_requests(me: Altered, sample: ChargerSample) -> ChargerSample:
    """A request that cannot be believed is cut down to one that can."""
    low_v, high_v = me.settings.plausible_v

    def clipped(m: Message) -> Message:
        return evolve(
            m,
            request_v=min(max(m.request_v, low_v), high_v),
            request_a=min(max(m.request_a, 0.0), me.settings.plausible_a),
        )

    return messages(sample, clipped)


@remembers("DOUBT.request")
def gives_up_at_nonsense(me: Altered, before: ChargerState, sample: ChargerSample) -> ChargerState:
    """It stops following at the first message that cannot be believed."""
    low_v, high_v = me.settings.plausible_v
    if all(low_v <= m.request_v <= high_v for m in sample.messages):
        return before
    return evolve(before, packs=tuple(evolve(h, heard_s=-inf) for h in before.packs))


@hears("DOUBT.silence")
def nonsense_is_life(me: Altered, sample: ChargerSample) -> ChargerSample:
    """A message that cannot be believed is a sign of life."""
    low_v, high_v = me.settings.plausible_v

    def alive(m: Message, heard: Heard) -> Message:
        sensible = low_v <= m.request_v <= high_v and m.request_a >= 0.0
        if sensible or not isfinite(m.age_s) or heard.heard_s == -inf:
            return m
        return evolve(m, request_v=heard.request_v, request_a=heard.request_a)

    packs = zip(sample.messages, me.state.packs, strict=True)
    return evolve(sample, messages=tuple(alive(m, heard) for m, heard in packs))


@hears("DOUBT.silence")
def no_age_is_new(_me: Altered, sample: ChargerSample) -> ChargerSample:
    """A message without an age, or with a negative one, is new."""
    return messages(sample, lambda m: m if m.age_s >= 0.0 else evolve(m, age_s=0.0))
