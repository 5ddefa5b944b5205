"""The stage rules: when a stage is left, and what for. The ways out are listed in `ctrl.transitions`.

Theory of operation
-------------------

A controller is in one stage at a time. `TRANSITIONS` lists, stage by stage, every way out: code
decides *when* (the functions below, one a stage), the table decides *what then*: the next stage,
what is said to have happened, and the cause. Nothing else changes a stage.

Order of one sample. (1) A reading that cannot be believed is skipped; it can only trip protection,
when the last good one is too long ago. (2) The interval is counted, then the empty rule. (3)
Protection: trips, then release. (4) A break in time abandons a hold, or an equalisation; else the rules
of the present stage. At most one change of stage happens at a sample, so whatever comes first in this
order wins: protection over a break in time, a break in time over the stage rules, and within a stage
the rows of the table from the top down.

Timers and dwells. A dwell is held as the time *since* which its condition holds, and begins at the
earliest on the sample on which the stage or phase was entered; that sample counts. The hold timer is
a time counted so far plus the stretch that is running: a sag under `pause` ends the stretch,
under `restart` it also throws away what was counted. The hold runs out and is confirmed on one and the
same sample. A break in time restarts every dwell and abandons a hold; the float timer goes on
with the stamps, and starts again only when they step back. All time limits have the slack of
`ctrl.limits` taken off beforehand.

Temperature. The voltage is shifted to the reference temperature once, and then compared with the
settings as they stand.
"""

from __future__ import annotations

from math import inf, isfinite, nan

from ctrl.counting import counted
from ctrl.equalisation import (
    counting,
    kept_up,
    may_start,
    put_off,
    warm_since,
    without_current_since,
)
from ctrl.limits import STEP_BACK_S, Limits
from ctrl.protection import CELL_VOLTAGE, NO_READING, all_clear, let_go, since, watched
from ctrl.resets import ResetRule, proves
from ctrl.state import NEVER, Charge, Output, Request, Sample, State, Upkeep, Watch, numbered
from ctrl.temperature import shifted
from ctrl.transitions import CAUSE, HAPPENED, TO, Way
from ctrl.vocabulary import Happened, OnSag, OnUnconfirmed, Phase, Stage

EMPTY_RESET = int(Happened.EMPTY_RESET)

# Looked up once: an enumeration's member costs more to find than to compare.
BULK, ABSORPTION, FLOAT, INHIBITED = Stage.BULK, Stage.ABSORPTION, Stage.FLOAT, Stage.INHIBITED
EQUALISATION = Stage.EQUALISATION
NO_PHASE, HOLD, CONFIRM = Phase.NONE, Phase.HOLD, Phase.CONFIRM
RUN, RESTART = OnSag.RUN, OnSag.RESTART
TO_BULK, WAIT = OnUnconfirmed.BULK, OnUnconfirmed.WAIT
STAY = int(Way.STAY)
TRIP_CELL, TRIP_TEMPERATURE = int(Way.TRIP_CELL), int(Way.TRIP_TEMPERATURE)
TRIP_NO_READING = int(Way.TRIP_NO_READING)
ENTRY_HELD, BREAK_IN_TIME = int(Way.ENTRY_HELD), int(Way.BREAK_IN_TIME)
HOLD_OVER, CONFIRMED = int(Way.HOLD_OVER), int(Way.CONFIRMED)
UNCONFIRMED_TO_FLOAT = int(Way.UNCONFIRMED_TO_FLOAT)
UNCONFIRMED_TO_BULK = int(Way.UNCONFIRMED_TO_BULK)
WAITED_TOO_LONG = int(Way.WAITED_TOO_LONG)
VOLTAGE_LOW, SOC_LOW, FLOAT_OVER = int(Way.VOLTAGE_LOW), int(Way.SOC_LOW), int(Way.FLOAT_OVER)
ALL_CLEAR = int(Way.ALL_CLEAR)
EQUALISE_BY_REQUEST = int(Way.EQUALISE_BY_REQUEST)
EQUALISE_BY_SCHEDULE = int(Way.EQUALISE_BY_SCHEDULE)
EQUALISED, EQUALISING_BROKEN = int(Way.EQUALISED), int(Way.EQUALISING_BROKEN)
EQUALISING_TOO_WARM = int(Way.EQUALISING_TOO_WARM)
EQUALISING_WITHOUT_CURRENT = int(Way.EQUALISING_WITHOUT_CURRENT)


def entered(limits: Limits, stage: Stage, t: float, level_v: float) -> Charge:
    """A stage at its first sample; a dwell of the new stage counts that sample."""
    if stage is BULK:
        return Charge(
            BULK, NO_PHASE, since(level_v >= limits.entry_v, t, False, NEVER), NEVER, 0.0, NEVER
        )
    if stage is ABSORPTION:
        return Charge(ABSORPTION, HOLD, NEVER, t, 0.0, NEVER)
    if stage is FLOAT:
        return Charge(
            FLOAT, NO_PHASE, since(level_v < limits.return_v, t, False, NEVER), t, 0.0, NEVER
        )
    if stage is EQUALISATION:
        # It starts with current, and in the cool.
        return Charge(EQUALISATION, NO_PHASE, NEVER, t, 0.0, NEVER)
    return Charge(INHIBITED, NO_PHASE, NEVER, NEVER, 0.0, NEVER)


def dwelling(charge: Charge, since_s: float) -> Charge:
    """The same stage with its dwell where it now stands."""
    if since_s == charge.dwell_since_s:
        return charge
    return Charge(
        charge.stage,
        charge.phase,
        since_s,
        charge.timer_from_s,
        charge.counted_s,
        charge.expired_s,
    )


def bulk(
    limits: Limits, charge: Charge, t: float, level_v: float, joined: bool
) -> tuple[Charge, int]:
    """Bulk waits for the entry voltage to stand."""
    if not level_v >= limits.entry_v:
        return charge if charge.dwell_since_s == NEVER else dwelling(charge, NEVER), STAY
    since_s = since(True, t, joined, charge.dwell_since_s)
    if t - since_s >= limits.entry_dwell_s:
        return charge, ENTRY_HELD
    return dwelling(charge, since_s), STAY


def hold_timer(limits: Limits, charge: Charge, t: float, level_v: float) -> tuple[Charge, float]:
    """The hold timer one sample on, and what it shows at that sample, s."""
    running = charge.timer_from_s < NEVER
    elapsed_s = charge.counted_s + (t - charge.timer_from_s if running else 0.0)
    if limits.on_sag is RUN:
        return charge, elapsed_s
    sags = level_v < limits.sag_v
    if sags and limits.on_sag is RESTART:
        elapsed_s = 0.0
    if sags is running:
        from_s = NEVER if sags else t
        return Charge(ABSORPTION, HOLD, charge.dwell_since_s, from_s, elapsed_s, NEVER), elapsed_s
    return charge, elapsed_s


def absorption(
    limits: Limits, rule: ResetRule, charge: Charge, t: float, level_v: float, i: float
) -> tuple[Charge, int, int]:
    """Absorption holds, then confirms; also says what happened on the way."""
    happened = 0
    if charge.phase is HOLD:
        charge, elapsed_s = hold_timer(limits, charge, t, level_v)
        if elapsed_s >= limits.hold_s:
            charge = Charge(ABSORPTION, CONFIRM, charge.dwell_since_s, NEVER, elapsed_s, t)
            happened = HAPPENED[HOLD_OVER]
        elif not rule.during_hold:
            return charge, STAY, happened
    proved = proves(rule, limits, level_v, i)
    since_s = since(proved, t, True, charge.dwell_since_s)
    if proved and (not rule.sustained or t - since_s >= limits.confirm_s):
        return charge, CONFIRMED, happened
    if charge.phase is CONFIRM:
        if limits.on_unconfirmed is WAIT:
            if t - charge.expired_s >= limits.wait_limit_s:
                return charge, WAITED_TOO_LONG, happened
        elif not proved:
            if limits.on_unconfirmed is TO_BULK:
                return charge, UNCONFIRMED_TO_BULK, happened
            return charge, UNCONFIRMED_TO_FLOAT, happened
    return dwelling(charge, since_s), STAY, happened


def floating(
    limits: Limits, charge: Charge, t: float, level_v: float, soc: float, joined: bool, back: bool
) -> tuple[Charge, int]:
    """Float ends by a low voltage, a low count, or its timer."""
    if back:
        charge = Charge(FLOAT, NO_PHASE, charge.dwell_since_s, t, 0.0, NEVER)
    if level_v < limits.return_v:
        since_s = since(True, t, joined, charge.dwell_since_s)
        if t - since_s >= limits.return_dwell_s:
            return charge, VOLTAGE_LOW
        charge = dwelling(charge, since_s)
    elif charge.dwell_since_s < NEVER:
        charge = dwelling(charge, NEVER)
    if soc < limits.return_soc:
        return charge, SOC_LOW
    if t - charge.timer_from_s >= limits.float_s:
        return charge, FLOAT_OVER
    return charge, STAY


def due(limits: Limits, upkeep: Upkeep, sample: Sample) -> int:
    """Float leads on to an equalisation that is due, where nothing holds it back."""
    if upkeep.requested and may_start(limits, upkeep, sample):
        return EQUALISE_BY_REQUEST
    if sample.t - upkeep.from_s >= limits.equalisation_every_s and may_start(
        limits, upkeep, sample
    ):
        return EQUALISE_BY_SCHEDULE
    return STAY


def equalising(limits: Limits, charge: Charge, sample: Sample) -> tuple[Charge, int]:
    """Equalisation ends by heat, by loss of current, or by its timer."""
    t = sample.t
    warm_s, idle_s = warm_since(limits, charge, sample), without_current_since(charge, sample)
    if t - warm_s >= limits.trip_dwell_s:
        return charge, EQUALISING_TOO_WARM
    if t - idle_s >= limits.equalisation_loss_s:
        return charge, EQUALISING_WITHOUT_CURRENT
    if t - charge.timer_from_s >= limits.equalisation_s:
        return charge, EQUALISED
    if warm_s == charge.expired_s and idle_s == charge.dwell_since_s:
        return charge, STAY
    return Charge(EQUALISATION, NO_PHASE, idle_s, charge.timer_from_s, 0.0, warm_s), STAY


def unreadable(limits: Limits, state: State, t: float) -> tuple[State, Output]:
    """An invalid sample: skipped, unless it shows that readings have been missing for too long."""
    charge, watch = state.charge, state.watch
    stage = charge.stage
    news = 0
    if isfinite(t):
        first_t = watch.first_t
        if not (isfinite(state.t) or first_t < NEVER):
            first_t = t
        last_t = state.t if isfinite(state.t) else first_t
        silent = t - last_t > limits.max_gap_s
        watch = Watch(
            watch.cell_since_s,
            watch.temperature_since_s,
            watch.tripped | NO_READING if silent else watch.tripped,
            watch.empty_since_s,
            watch.emptied,
            watch.quiet and not silent,
            first_t,
            watch.shift_v,
            watch.sensor,
            watch.upkeep,
        )
        if silent and stage is INHIBITED:
            # A cause that joins is not clear at the sample at which it trips.
            charge = dwelling(charge, NEVER)
        elif silent:
            if stage is EQUALISATION:
                watch = kept_up(watch, put_off(limits, watch.upkeep, t))
            charge = entered(limits, INHIBITED, t, nan)
            news = numbered(HAPPENED[TRIP_NO_READING], CAUSE[TRIP_NO_READING], stage)
    asked = request(limits, charge.stage, watch.shift_v)
    after = State(state.soc, state.t, state.i, charge, watch)
    return after, Output(charge.stage, state.soc, asked, news)


def request(limits: Limits, stage: Stage, shift_v: float) -> Request:
    """What is asked of the charger in a stage."""
    if stage is FLOAT:
        asked = limits.asked_in_float
    elif stage is INHIBITED:
        asked = limits.asked_while_inhibited
    elif stage is EQUALISATION:
        asked = limits.asked_in_equalisation
    else:
        asked = limits.asked_in_charge
    return asked if shift_v == 0.0 else Request(asked.voltage_v + shift_v, asked.current_a)


def decide(limits: Limits, rule: ResetRule, state: State, sample: Sample) -> tuple[State, Output]:
    """One sample: from the state before it to the state after it, and what is said."""
    t, v, i = sample.t, sample.v, sample.i
    interval_s = t - state.t
    joined = STEP_BACK_S <= interval_s <= limits.max_gap_s
    if not (
        limits.low_v <= v <= limits.high_v
        and limits.low_i <= i <= limits.high_i
        # A stamp that joins on to a finite one is finite.
        and (joined or isfinite(t))
    ):
        return unreadable(limits, state, t)

    soc, charge, watch = state.soc, state.charge, state.watch
    if joined:
        soc = counted(limits, soc, state.i, i, interval_s if interval_s > 0.0 else 0.0)
    if limits.compensation_v_per_c != 0.0:
        watch = shifted(limits, watch, sample.temp_c, t, interval_s)
    equalises = limits.equalisation_v < inf
    if equalises:
        watch = kept_up(watch, counting(watch.upkeep, t, interval_s))
    level_v = v - watch.shift_v
    was = charge.stage
    happened = 0
    way = STAY

    if not watch.quiet or (
        v <= limits.empty_v
        or sample.cell_max_v >= limits.cell_limit_v
        or sample.temp_c < limits.charge_min_c
        or sample.temp_c > limits.charge_max_c
        or sample.temp_max_c > limits.charge_max_c
    ):
        before = watch
        watch = watched(limits, before, sample, joined)
        if watch.emptied and not before.emptied:
            soc = 0.0
            happened = EMPTY_RESET
        if was is INHIBITED:
            since_s = since(
                all_clear(limits, watch.tripped, sample), t, joined, charge.dwell_since_s
            )
            charge = dwelling(charge, since_s)
            if t - since_s >= limits.release_dwell_s:
                way = ALL_CLEAR
                watch = let_go(watch)
        elif watch.tripped != 0:
            way = TRIP_CELL if watch.tripped & CELL_VOLTAGE else TRIP_TEMPERATURE

    if way == STAY:
        if was is BULK:
            charge, way = bulk(limits, charge, t, level_v, joined)
        elif was is ABSORPTION:
            if joined:
                charge, way, on_the_way = absorption(limits, rule, charge, t, level_v, i)
                happened |= on_the_way
            else:
                way = BREAK_IN_TIME
        elif was is FLOAT:
            back = interval_s < STEP_BACK_S
            charge, way = floating(limits, charge, t, level_v, soc, joined, back)
            if way == STAY and equalises:
                way = due(limits, watch.upkeep, sample)
        elif was is EQUALISATION:
            if joined:
                charge, way = equalising(limits, charge, sample)
            else:
                way = EQUALISING_BROKEN

    news = 0
    if way != STAY:
        if way == CONFIRMED:
            soc = 1.0
        elif way == EQUALISED:
            watch = kept_up(watch, Upkeep(t, False, -inf))
        elif was is EQUALISATION:
            watch = kept_up(watch, put_off(limits, watch.upkeep, t))
        news = numbered(happened | HAPPENED[way], CAUSE[way], was)
        charge = entered(limits, TO[way], t, level_v)
    elif happened != 0:
        news = numbered(happened, 0, was)
    stage = charge.stage
    # By far the commonest answer, without the call.
    asked = limits.asked_in_charge
    if watch.shift_v != 0.0 or (stage is not BULK and stage is not ABSORPTION):
        asked = request(limits, stage, watch.shift_v)
    return State(soc, t, i, charge, watch), Output(stage, soc, asked, news)
