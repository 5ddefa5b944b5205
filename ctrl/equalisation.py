"""Equalisation: when one is due, when it starts, and what ends it.

Theory of operation. The cells of a lead-acid battery drift apart, and its acid settles in layers. Now
and then it is charged on, at a voltage at which it gasses, for a limited time. That costs water and
makes hydrogen and heat, so the rules are narrow. It starts from float only, that is after a charge;
only when it is due, by a schedule or by request; only while charging current flows and the
temperature is known to be within its bound. It ends by its timer; it is abandoned by heat, by a
temperature that is no longer known, by loss of current, by a break in time and by protection. An
abandoned one stays due, and is not tried again at once. It proves nothing about the state of charge.
Where `equalisation_v` is none, which is so for every chemistry that forbids it, there is no way into it.
"""

from __future__ import annotations

from math import inf, isfinite

from ctrl.limits import STEP_BACK_S, Limits
from ctrl.protection import hottest_c, since
from ctrl.state import Charge, Sample, State, Upkeep, Watch


def cool(limits: Limits, sample: Sample) -> bool:
    """Whether the temperature is known to be within the bound, where there is one."""
    return limits.equalisation_max_c == inf or hottest_c(sample) <= limits.equalisation_max_c


def may_start(limits: Limits, upkeep: Upkeep, sample: Sample) -> bool:
    """Whether nothing at this valid sample of float holds one back that is due."""
    return sample.t >= upkeep.not_before_s and sample.i > 0.0 and cool(limits, sample)


def warm_since(limits: Limits, charge: Charge, sample: Sample) -> float:
    """Since when it has been too warm, or the temperature unknown, s; `NEVER` if it is not."""
    return since(not cool(limits, sample), sample.t, True, charge.expired_s)


def without_current_since(charge: Charge, sample: Sample) -> float:
    """Since when no charging current has flowed, s; `NEVER` if it flows."""
    return since(not sample.i > 0.0, sample.t, True, charge.dwell_since_s)


def counting(upkeep: Upkeep, t: float, interval_s: float) -> Upkeep:
    """The schedule at a valid sample: begun at the first; a clock that steps back moves it along."""
    if not isfinite(upkeep.from_s):
        return Upkeep(t, upkeep.requested, upkeep.not_before_s)
    if interval_s < STEP_BACK_S:
        return Upkeep(
            upkeep.from_s + interval_s, upkeep.requested, upkeep.not_before_s + interval_s
        )
    return upkeep


def put_off(limits: Limits, upkeep: Upkeep, t: float) -> Upkeep:
    """One was abandoned: it stays due, but not at once."""
    return Upkeep(upkeep.from_s, upkeep.requested, t + limits.equalisation_retry_s)


def kept_up(watch: Watch, upkeep: Upkeep) -> Watch:
    """The same with another schedule."""
    if upkeep is watch.upkeep:
        return watch
    return Watch(
        watch.cell_since_s,
        watch.temperature_since_s,
        watch.tripped,
        watch.empty_since_s,
        watch.emptied,
        watch.quiet,
        watch.first_t,
        watch.shift_v,
        watch.sensor,
        upkeep,
    )


def with_request(limits: Limits, state: State) -> State:
    """The state after somebody asked for an equalisation; the same where there is none."""
    if limits.equalisation_v == inf:
        return state
    upkeep = state.watch.upkeep
    asked = Upkeep(upkeep.from_s, True, upkeep.not_before_s)
    return State(state.soc, state.t, state.i, state.charge, kept_up(state.watch, asked))
