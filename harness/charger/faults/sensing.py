"""Faults in the compensation of the line, and in what it reads for it."""

from __future__ import annotations

from math import isfinite, isnan, nan

from attrs import evolve

from ctrl.charger import (
    ChargerSample,
    ChargerState,
    Conduct,
)
from harness.charger.faults.altered import (
    LONG,
    Altered,
    Turned,
    hears,
    messages,
    set_to,
    turns,
)

STOPPED, FALLBACK, FOLLOWING = Conduct.STOPPED, Conduct.FALLBACK, Conduct.FOLLOWING

set_to(
    "fast-compensation",
    "Compensation moves as fast as it likes.",
    "SENSE.bounds",
    compensation_v_per_s=LONG,
    sense_time_s=lambda s: s.max_gap_s,
)


set_to(
    "ignores-the-pack",
    "It holds its own terminals and ignores what the pack reads.",
    "SENSE.reaches",
    "SENSE.comes-down",
    compensation_v=0.0,
)


set_to(
    "hardly-compensates",
    "Compensation takes most of a day.",
    "SENSE.reaches",
    "SENSE.comes-down",
    sense_time_s=40_000.0,
)


set_to("never-frozen", "It believes a reading that never changes.", "DOUBT.frozen", frozen_s=LONG)


set_to(
    "frozen-late",
    "It notices a frozen reading three times later.",
    "DOUBT.frozen",
    frozen_s=lambda s: 3 * s.frozen_s,
)


@turns("SENSE.comes-down")
def only_upward(me: Altered, before: ChargerState, sample: ChargerSample) -> Turned:
    """It compensates upward only."""
    after, output = Altered.turns(me, before, sample)
    keeps_v = after.base_v + before.compensation_v
    both = before.conduct is after.conduct is FOLLOWING and keeps_v < me.settings.highest_v
    if after.compensation_v >= before.compensation_v or not both:
        return after, output
    after = evolve(after, compensation_v=before.compensation_v)
    return after, evolve(output, set_point_v=after.base_v + after.compensation_v)


@hears("SENSE.direction")
def wrong_way_round(me: Altered, sample: ChargerSample) -> ChargerSample:
    """It takes for lacking what is too much."""
    base_v = me.state.base_v
    return messages(sample, lambda m: evolve(m, pack_v=2.0 * base_v - m.pack_v))


@hears("SENSE.direction", "SENSE.comes-down", "PACKS.reading")
def wants_more(_me: Altered, sample: ChargerSample) -> ChargerSample:
    """It wants the pack to read 0.2 V more than was asked for."""
    return messages(sample, lambda m: evolve(m, pack_v=m.pack_v - 0.2))


@hears("SENSE.idle")
def winds_up_at_limit(_me: Altered, sample: ChargerSample) -> ChargerSample:
    """It goes on compensating while the current is at its limit."""
    return evolve(sample, own_a=min(sample.own_a, 0.0))


@hears("SENSE.idle")
def winds_up_under_clouds(me: Altered, sample: ChargerSample) -> ChargerSample:
    """It goes on compensating while it cannot hold its voltage."""
    set_v = me.state.base_v + me.state.compensation_v
    return evolve(sample, own_v=max(sample.own_v, set_v) if isfinite(sample.own_v) else nan)


@hears("SENSE.idle")
def winds_up_held_up(me: Altered, sample: ChargerSample) -> ChargerSample:
    """It goes on compensating while something else holds the bus up."""
    set_v = me.state.base_v + me.state.compensation_v
    return evolve(sample, own_v=min(sample.own_v, set_v) if isfinite(sample.own_v) else nan)


@hears("PACKS.reading")
def mean_reading(_me: Altered, sample: ChargerSample) -> ChargerSample:
    """It compensates by the mean of what the packs read."""
    mean_v = sum(m.pack_v for m in sample.messages) / len(sample.messages)
    return messages(sample, lambda m: evolve(m, pack_v=mean_v))


@hears("PACKS.reading")
def lowest_reading(_me: Altered, sample: ChargerSample) -> ChargerSample:
    """It compensates by the lowest of what the packs read."""
    low_v = min(m.pack_v for m in sample.messages)
    return messages(sample, lambda m: evolve(m, pack_v=low_v))


@hears("DOUBT.reading")
def missing_reading_is_low(me: Altered, sample: ChargerSample) -> ChargerSample:
    """A reading that is missing is the lowest that can be believed."""
    low_v = me.settings.plausible_v[0]
    return messages(sample, lambda m: evolve(m, pack_v=low_v) if isnan(m.pack_v) else m)


@hears("DOUBT.reading")
def clips_readings(me: Altered, sample: ChargerSample) -> ChargerSample:
    """A reading that is too low to be believed is cut to one that can."""
    low_v = me.settings.plausible_v[0]
    return messages(sample, lambda m: evolve(m, pack_v=max(low_v, m.pack_v)))


@hears("DOUBT.own")
def trusts_its_set_point(me: Altered, sample: ChargerSample) -> ChargerSample:
    """Where it cannot read its own voltage it takes the set-point for it."""
    if isfinite(sample.own_v):
        return sample
    return evolve(sample, own_v=me.state.base_v + me.state.compensation_v)


@hears("DOUBT.own")
def no_current_is_zero(_me: Altered, sample: ChargerSample) -> ChargerSample:
    """Where it cannot read its own current it takes 0 A for it."""
    return sample if isfinite(sample.own_a) else evolve(sample, own_a=0.0)
