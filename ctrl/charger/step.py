"""The reference charger: `charger_step`, a pure function, and `Charger`, a thin object over it.

Order of one sample. (1) Validity and continuity. (2) Messages and readings. (3) The state. (4) What
is aimed at in that state. (5) Set-point and limit, down at once, up by their slope. (6)
Compensation. Nothing that is missing or cannot be believed raises anything: a message that is not
good is no message, and a reading that is not good leaves the compensation where it is.
"""

from __future__ import annotations

from math import isfinite, nan

from ctrl.charger.compensation import compensated, set_point
from ctrl.charger.following import all_fresh, next_conduct
from ctrl.charger.hearing import clock_set_back, listened, strictest
from ctrl.charger.settings import ChargerSettings
from ctrl.charger.state import ChargerOutput, ChargerSample, ChargerState, Conduct, Heard
from ctrl.limits import STEP_BACK_S, TIME_SLACK_S
from ctrl.protection import since
from ctrl.state import NEVER


def start_charger(settings: ChargerSettings) -> ChargerState:
    """The state at power-up: stopped, and no pack heard."""
    return ChargerState(
        t=nan,
        conduct=Conduct.STOPPED,
        fresh_since_s=NEVER,
        base_v=settings.fallback_v,
        limit_a=0.0,
        compensation_v=0.0,
        packs=(Heard(),) * settings.packs,
    )


def charger_step(
    settings: ChargerSettings, state: ChargerState, sample: ChargerSample
) -> tuple[ChargerState, ChargerOutput]:
    """One sample of the reference charger; nothing that is passed in is changed.

    Args:
        settings: the charger's settings.
        state: what the charger remembers; `start_charger` makes the first.
        sample: what it reads. Any numbers are legal, NaN and infinity among them.

    Returns:
        The state after the sample, and what the charger does.

    Raises:
        ValueError: there is not one message for each pack.
    """
    if not len(sample.messages) == len(state.packs) == settings.packs:
        raise ValueError(
            f"the sample has {len(sample.messages)} messages, the state {len(state.packs)} packs "
            f"and the settings {settings.packs}; a pack that says nothing has an empty message"
        )
    t = sample.t
    if not isfinite(t):
        return state, _output(settings, state)
    interval_s = t - state.t
    joined = STEP_BACK_S <= interval_s <= settings.max_gap_s + TIME_SLACK_S
    counted_s = max(interval_s, 0.0) if joined else 0.0
    known = state.packs
    if interval_s < STEP_BACK_S:
        known = tuple(clock_set_back(heard, interval_s) for heard in known)

    heard_and_read = [
        listened(settings, heard, message, t)
        for heard, message in zip(known, sample.messages, strict=True)
    ]
    packs = tuple(heard for heard, _ in heard_and_read)
    fresh_since_s = since(all_fresh(settings, packs, t), t, joined, state.fresh_since_s)
    conduct = next_conduct(settings, state.conduct, packs, t, joined, fresh_since_s)

    aim_v, aim_a = _aim(settings, state, packs, conduct)
    base_v = min(aim_v, state.base_v + settings.raise_v_per_s * counted_s)
    limit_a = min(aim_a, state.limit_a + settings.raise_a_per_s * counted_s)

    compensation_v = state.compensation_v
    if conduct is not Conduct.FOLLOWING:
        compensation_v = min(compensation_v, 0.0)
    elif state.conduct is Conduct.FOLLOWING:
        readings_v = [reading_v for _, reading_v in heard_and_read]
        compensation_v = compensated(settings, state, sample, readings_v, counted_s)
    # What `highest_v` does not let through must not be stored up for later.
    compensation_v = min(compensation_v, settings.highest_v - base_v)

    after = ChargerState(t, conduct, fresh_since_s, base_v, limit_a, compensation_v, packs)
    return after, _output(settings, after)


def _aim(
    settings: ChargerSettings, state: ChargerState, packs: tuple[Heard, ...], conduct: Conduct
) -> tuple[float, float]:
    """Set-point without compensation (V) and limit (A) that a state aims at."""
    asked_v, asked_a = strictest(packs)
    if conduct is Conduct.FOLLOWING:
        return min(asked_v, settings.highest_v), min(asked_a, settings.highest_a)
    # A pack that is still heard may ask for less than it did; nothing gets higher than it was.
    aim_v = min(asked_v, settings.fallback_v, state.base_v)
    if conduct is Conduct.FALLBACK:
        return aim_v, min(asked_a, settings.fallback_a, state.limit_a)
    return aim_v, 0.0


def _output(settings: ChargerSettings, state: ChargerState) -> ChargerOutput:
    voltage_v = set_point(settings, state.base_v, state.compensation_v)
    return ChargerOutput(voltage_v, state.limit_a, state.conduct)


class Charger:
    """The reference charger as an object that remembers its own state."""

    def __init__(self, settings: ChargerSettings) -> None:
        """Start stopped."""
        self.settings = settings
        self.state = start_charger(settings)

    def step(self, sample: ChargerSample) -> ChargerOutput:
        """Take one sample and say what follows from it; raises `ValueError` as `charger_step`."""
        self.state, output = charger_step(self.settings, self.state, sample)
        return output

    def power_cycle(self) -> None:
        """Lose power: everything is forgotten."""
        self.state = start_charger(self.settings)
