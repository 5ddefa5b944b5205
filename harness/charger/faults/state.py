"""Faults in whom the charger heeds, and when."""

from __future__ import annotations

from math import inf, isfinite, isnan

from attrs import evolve

from ctrl.charger import (
    ChargerOutput,
    ChargerSample,
    ChargerSettings,
    ChargerState,
    Conduct,
    Message,
)
from harness.charger.faults.altered import (
    LONG,
    Altered,
    Turned,
    begin,
    hears,
    messages,
    power_cycle,
    remembers,
    says,
    set_to,
    turns,
    works_with,
)

STOPPED, FALLBACK, FOLLOWING = Conduct.STOPPED, Conduct.FALLBACK, Conduct.FOLLOWING

set_to(
    "old-late",
    "Messages get old five times later.",
    "STALE.falls-back",
    stale_s=lambda s: min(5 * s.stale_s, 0.9 * s.silent_s),
)


set_to("never-silent", "No pack is ever silent.", "STALE.stops", silent_s=LONG)


set_to(
    "silent-late",
    "Silence is noticed a third later.",
    "STALE.stops",
    silent_s=lambda s: s.silent_s * 4 / 3,
)


set_to(
    "stops-at-once",
    "It stops where it should fall back.",
    "STALE.in-order",
    silent_s=lambda s: s.stale_s + 0.1,
)


set_to(
    "impatient",
    "A message is old after a third of the time.",
    "STALE.in-order",
    stale_s=lambda s: s.stale_s / 3,
)


set_to(
    "high-in-fallback",
    "Fallback has no voltage of its own.",
    "STALE.bounds",
    fallback_v=lambda s: s.highest_v,
)


set_to(
    "strong-in-fallback",
    "Fallback has no current of its own.",
    "STALE.bounds",
    fallback_a=lambda s: s.highest_a,
)


set_to("never-begins", "It never begins.", "BEGIN.follows", steady_s=LONG)


set_to(
    "begins-late",
    "It waits three times as long.",
    "BEGIN.follows",
    "RECOVER.follows",
    steady_s=lambda s: 3 * s.steady_s,
)


set_to("follows-at-once", "It waits for nothing.", "BEGIN.waits", "RECOVER.waits", steady_s=0.0)


set_to(
    "waits-half",
    "It waits half as long.",
    "BEGIN.waits",
    "RECOVER.waits",
    steady_s=lambda s: s.steady_s / 2,
)


set_to(
    "long-gaps", "A gap of a minute is no gap.", "CLOCK.break", max_gap_s=lambda s: s.sense_time_s
)


@hears("STALE.falls-back")
def ignores_age(_me: Altered, sample: ChargerSample) -> ChargerSample:
    """It never looks at the age of a message."""
    return messages(sample, lambda m: m if isnan(m.request_v) else evolve(m, age_s=0.0))


@says("STALE.stops", "BEGIN.stopped", "RESTART.forgets")
def trickles_while_stopped(
    _me: Altered, _before: ChargerOutput, _sample: ChargerSample, is_: ChargerOutput
) -> ChargerOutput:
    """It gives a little current while it is stopped."""
    return evolve(is_, limit_a=2.0) if is_.state is STOPPED else is_


@turns("STALE.no-rise")
def rises_in_fallback(me: Altered, before: ChargerState, sample: ChargerSample) -> Turned:
    """In fallback it goes to the current that fallback allows, up or down."""
    after, output = Altered.turns(me, before, sample)
    if after.conduct is FALLBACK:
        after = evolve(after, limit_a=me.settings.fallback_a)
    return after, evolve(output, limit_a=after.limit_a)


@says("STALE.no-rise", "STALE.obeys")
def floats_in_fallback(
    me: Altered, _before: ChargerOutput, _sample: ChargerSample, is_: ChargerOutput
) -> ChargerOutput:
    """In fallback it goes to the voltage that fallback allows, up or down."""
    return evolve(is_, set_point_v=me.settings.fallback_v) if is_.state is FALLBACK else is_


@turns("STALE.no-rise")
def keeps_compensation(me: Altered, before: ChargerState, sample: ChargerSample) -> Turned:
    """It keeps the compensation when messages are old."""
    after, output = Altered.turns(me, before, sample)
    if after.conduct is FALLBACK:
        after = evolve(after, compensation_v=before.compensation_v)
        output = evolve(output, set_point_v=after.base_v + after.compensation_v)
    return after, output


@remembers("STALE.falls-back")
def heartbeat_only(_me: Altered, before: ChargerState, sample: ChargerSample) -> ChargerState:
    """It takes the charger's own sample for a sign of life of the pack."""
    t = sample.t if isfinite(sample.t) else before.t
    packs = tuple(evolve(h, heard_s=t) if h.heard_s > -inf else h for h in before.packs)
    return evolve(before, packs=packs)


@says("STALE.obeys")
def deaf_in_fallback(
    me: Altered, before: ChargerOutput, _sample: ChargerSample, is_: ChargerOutput
) -> ChargerOutput:
    """In fallback it listens to nobody."""
    if is_.state is not FALLBACK:
        return is_
    s = me.settings
    return ChargerOutput(
        min(before.set_point_v, s.fallback_v), min(before.limit_a, s.fallback_a), FALLBACK
    )


@says("STALE.obeys")
def deaf_to_current_in_fallback(
    me: Altered, before: ChargerOutput, _sample: ChargerSample, is_: ChargerOutput
) -> ChargerOutput:
    """In fallback it obeys the voltage alone."""
    if is_.state is not FALLBACK:
        return is_
    return evolve(is_, limit_a=min(before.limit_a, me.settings.fallback_a))


@works_with("RECOVER.waits")
def recovers_at_once(me: Altered) -> ChargerSettings:
    """It waits for steady messages only before it follows the first time."""
    return me.settings.changed(steady_s=0.0) if _has_followed(me) else me.settings


@works_with("RECOVER.follows")
def never_recovers(me: Altered) -> ChargerSettings:
    """Once in fallback it follows no more."""
    return me.settings.changed(steady_s=LONG) if _has_followed(me) else me.settings


def _has_followed(me: Altered) -> bool:
    me.notes["followed"] = me.notes.get("followed", False) or me.state.conduct is FOLLOWING
    return bool(me.notes["followed"])


@turns("RECOVER.unbroken")
def adds_up_steady_time(me: Altered, before: ChargerState, sample: ChargerSample) -> Turned:
    """It adds up the time in which messages are fresh, whatever lies between."""
    return _adding_up(me, before, sample, off_s=0.0)


@turns("RECOVER.unbroken")
def forgives_interruptions(me: Altered, before: ChargerState, sample: ChargerSample) -> Turned:
    """It adds up fresh time, and an interruption takes no more than a second off."""
    return _adding_up(me, before, sample, off_s=1.0)


def _adding_up(me: Altered, before: ChargerState, sample: ChargerSample, off_s: float) -> Turned:
    after, output = Altered.turns(me, before, sample)
    gathered_s = me.notes.get("gathered_s", 0.0)
    if after.conduct is FOLLOWING:
        gathered_s = 0.0
    elif after.fresh_since_s < inf and isfinite(sample.t):
        if before.fresh_since_s < inf and isfinite(before.t):
            gathered_s += max(min(sample.t - before.t, me.settings.max_gap_s), 0.0)
        after = evolve(after, fresh_since_s=sample.t - gathered_s)
    elif before.fresh_since_s < inf:
        gathered_s = max(gathered_s - off_s, 0.0)
    me.notes["gathered_s"] = gathered_s
    return after, output


@turns("CLOCK.break")
def waits_over_gaps(me: Altered, before: ChargerState, sample: ChargerSample) -> Turned:
    """The wait for steady messages runs on over a gap."""
    gap = sample.t - before.t > me.settings.max_gap_s
    if gap and before.fresh_since_s < inf and before.conduct is not FOLLOWING:
        after, output = Altered.turns(me, evolve(before, t=sample.t), sample)
        return after, output
    return Altered.turns(me, before, sample)


@turns("CLOCK.break")
def goes_on_over_gaps(me: Altered, before: ChargerState, sample: ChargerSample) -> Turned:
    """It follows on over a gap, and raises nothing over it."""
    if before.conduct is FOLLOWING and sample.t - before.t > me.settings.max_gap_s:
        return Altered.turns(me, evolve(before, t=sample.t), sample)
    return Altered.turns(me, before, sample)


@says("BEGIN.stopped", "RESTART.forgets")
def begins_in_fallback(
    me: Altered, _before: ChargerOutput, _sample: ChargerSample, is_: ChargerOutput
) -> ChargerOutput:
    """It begins in fallback, so that there is some charge from the start."""
    if is_.state is not STOPPED or _has_followed(me):
        return is_
    return ChargerOutput(me.settings.fallback_v, me.settings.fallback_a, FALLBACK)


@says("BEGIN.stopped", "RESTART.forgets")
def begins_high(
    me: Altered, _before: ChargerOutput, _sample: ChargerSample, is_: ChargerOutput
) -> ChargerOutput:
    """It begins with the highest set-point."""
    return evolve(is_, set_point_v=me.settings.highest_v) if is_.state is STOPPED else is_


@begin("BEGIN.stopped", "RESTART.forgets")
def begins_following(me: Altered) -> ChargerState:
    """It begins as if it had always followed."""
    return evolve(Altered.begin(me), conduct=FOLLOWING)


@remembers("PACKS.every")
def one_pack_is_enough(_me: Altered, before: ChargerState, _sample: ChargerSample) -> ChargerState:
    """It follows as long as one pack is heard."""
    newest_s = max(heard.heard_s for heard in before.packs)
    packs = tuple(
        evolve(heard, heard_s=newest_s) if heard.heard_s > -inf else heard for heard in before.packs
    )
    return evolve(before, packs=packs)


@hears("PACKS.every")
def leaves_out_the_unheard(me: Altered, sample: ChargerSample) -> ChargerSample:
    """A pack that has never spoken is not there."""
    there = next((m for m in sample.messages if isfinite(m.request_v)), Message())
    unheard = [h.heard_s == -inf or h.request_a == 0.25 for h in me.state.packs]
    packs = zip(sample.messages, unheard, strict=True)
    return evolve(
        sample,
        messages=tuple(
            evolve(there, request_a=0.25) if un and isnan(m.request_v) else m for m, un in packs
        ),
    )


@hears("CLOCK.invalid")
def guesses_stamps(me: Altered, sample: ChargerSample) -> ChargerSample:
    """A sample without a stamp comes one second after the one before."""
    return sample if isfinite(sample.t) else evolve(sample, t=me.state.t)


@says("CLOCK.invalid")
def stops_without_stamp(
    _me: Altered, _before: ChargerOutput, sample: ChargerSample, is_: ChargerOutput
) -> ChargerOutput:
    """At a sample without a stamp it gives nothing."""
    return is_ if isfinite(sample.t) else evolve(is_, limit_a=0.0)


@remembers("CLOCK.ages")
def trusts_its_clock(_me: Altered, before: ChargerState, sample: ChargerSample) -> ChargerState:
    """It keeps the stamp at which a pack was heard when its clock is set back."""
    back_s = sample.t - before.t
    if not back_s < 0.0:
        return before
    packs = tuple(evolve(heard, heard_s=heard.heard_s - back_s) for heard in before.packs)
    return evolve(before, packs=packs)


@remembers("CLOCK.ages")
def starts_ages_anew(_me: Altered, before: ChargerState, sample: ChargerSample) -> ChargerState:
    """When its clock is set back it takes everything for just heard."""
    back_s = sample.t - before.t
    if not back_s < 0.0:
        return before
    packs = tuple(
        evolve(heard, heard_s=before.t) if heard.heard_s > -inf else heard for heard in before.packs
    )
    return evolve(before, packs=packs)


@power_cycle("RESTART.forgets")
def forgets_nothing(_me: Altered) -> None:
    """A loss of power leaves it as it was."""


@power_cycle("RESTART.forgets")
def keeps_the_wait(me: Altered) -> None:
    """The wait for steady messages is kept over a loss of power."""
    kept = me.state
    Altered.power_cycle(me)
    me.state = evolve(me.state, t=kept.t, fresh_since_s=kept.fresh_since_s, packs=kept.packs)


@power_cycle("RESTART.forgets")
def keeps_its_state(me: Altered) -> None:
    """After a loss of power it begins in fallback, with the set-point that it had."""
    kept = me.state
    Altered.power_cycle(me)
    me.state = evolve(me.state, conduct=FALLBACK, base_v=kept.base_v, packs=kept.packs)
