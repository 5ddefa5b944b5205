"""Packs in parallel on one bus: what the charger is asked for, from what each pack asks for.

Theory of operation. Every pack has a controller of its own, on its own meter. A pack has *finished*
while it is in float or equalisation, and is *charging* while it is in bulk or absorption. `lead` lets
one pack speak for all. `any` asks for the float voltage as soon as one pack has finished. `every` asks for
the absorption voltage until all have, but no longer than `bank_wait_s` after the first; a pack
that leaves float for bulk begins the wait anew. Where packs ask for different voltages, because
their temperatures differ, the lowest counts; so the voltage of an equalisation is asked for only while all
packs are in it, or, with `lead`, the lead is. Whatever the policy says, the current is the sum of
what the packs ask for, and while a pack is inhibited by its cell limit the voltage is at most what
that pack asks for, its float voltage: a charger cannot single out one pack of a bank.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite, nan
from typing import Any

from attrs import Attribute, field, frozen

from ctrl.errors import SettingsError
from ctrl.limits import TIME_SLACK_S
from ctrl.state import NEVER, Output, Request, State
from ctrl.vocabulary import Stage, Tripped

POLICIES = ("every", "lead", "any")
EVERY, LEAD, ANY = range(len(POLICIES))
BULK, ABSORPTION, FLOAT = int(Stage.BULK), int(Stage.ABSORPTION), int(Stage.FLOAT)
EQUALISATION = int(Stage.EQUALISATION)
# Stages and requests of the packs, as lists or as arrays.
Stages = Any
Numbers = Any


def _known(_: Any, attribute: Attribute[str], value: Any) -> None:
    if value not in POLICIES:
        raise SettingsError(
            f"{attribute.name} is {value!r}",
            fields=(attribute.name,),
            hint=f"it must be one of {', '.join(POLICIES)}",
        )


def _index(_: Any, attribute: Attribute[int], value: Any) -> None:
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise SettingsError(
            f"{attribute.name} is {value!r}",
            fields=(attribute.name,),
            hint="it must be the index of a pack, counted from 0",
        )


def _length(_: Any, attribute: Attribute[float], value: Any) -> None:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not (number and isfinite(value) and value > 0):
        raise SettingsError(
            f"{attribute.name} is {value!r}",
            fields=(attribute.name,),
            hint="it must be a finite number greater than 0",
        )


@frozen(kw_only=True)
class BankSettings:
    """What is set on a bank, beside the settings of its packs.

    Attributes:
        policy: whose stage decides: `every` pack's, that of the `lead`, or that of `any` pack.
        lead: index of the lead pack, counted from 0.
        bank_wait_s: with `every`, the longest wait after the first pack has finished, s.
    """

    policy: str = field(default="every", validator=_known)
    lead: int = field(default=0, validator=_index)
    bank_wait_s: float = field(default=7200.0, validator=_length)


@frozen
class Voice:
    """What one pack tells the bank.

    Attributes:
        stage: the stage of its controller.
        asked: what it asks for.
        at_cell_limit: it is inhibited, and its cell limit is among the causes.
    """

    stage: Stage
    asked: Request
    at_cell_limit: bool


def voice_of(state: State, output: Output) -> Voice:
    """The voice of a pack after a step of its controller."""
    at_limit = output.stage is Stage.INHIBITED and state.watch.tripped & Tripped.CELL_VOLTAGE != 0
    return Voice(output.stage, output.asked, at_limit)


@frozen
class BankState:
    """What a bank remembers between samples.

    Attributes:
        stages: the stages of the packs at the sample before; none before the first.
        waiting_since_s: since when a pack that has finished waits for one that has not.
    """

    stages: tuple[Stage, ...] = ()
    waiting_since_s: float = NEVER


def bank_step(
    settings: BankSettings, before: BankState, t: float, voices: Sequence[Voice]
) -> tuple[BankState, Request]:
    """One sample of a bank: what the charger is asked for.

    Args:
        settings: the bank's settings.
        before: what the bank remembers; `BankState()` at first.
        t: time stamp, s; finite.
        voices: one for each pack, in their order.

    Raises:
        ValueError: there are no packs, another number of packs than before, or no lead among them.
    """
    stages = tuple(voice.stage for voice in voices)
    if not stages or (before.stages and len(before.stages) != len(stages)):
        raise ValueError(f"the bank has {len(stages)} packs; before it had {len(before.stages)}")
    if settings.policy == "lead" and settings.lead >= len(stages):
        raise ValueError(f"lead is {settings.lead}, but the bank has {len(stages)} packs, from 0")

    since_s = waiting_since(before.stages, stages, before.waiting_since_s, t)
    asked_v, asked_a = asked_of_charger(
        POLICIES.index(settings.policy),
        settings.lead,
        t - since_s >= settings.bank_wait_s - TIME_SLACK_S,
        stages,
        [voice.asked.voltage_v for voice in voices],
        [voice.asked.current_a for voice in voices],
        [voice.at_cell_limit for voice in voices],
    )
    return BankState(stages, since_s), Request(asked_v, asked_a)


def waiting_since(before: Stages, stages: Stages, before_s: float, t: float) -> float:
    """Since when a pack that has finished waits for one that has not, s; `NEVER` if none does.

    Args:
        before: stages of the packs at the sample before; none at first.
        stages: their stages now.
        before_s: what this said at the sample before.
        t: time stamp, s.
    """
    finished, anew = 0, False
    for p in range(len(stages)):
        if stages[p] == FLOAT or stages[p] == EQUALISATION:
            finished += 1
    for p in range(len(before)):
        anew = anew or (before[p] == FLOAT and stages[p] == BULK)
    if finished == 0 or finished == len(stages):
        return NEVER
    # A clock that steps back cannot have waited already.
    return t if anew or t < before_s else before_s


def lowest_v(stages: Stages, volts: Numbers, charging: bool) -> float:
    """The lowest voltage asked for by the packs that charge, or by those that do not; NaN if none."""
    lowest = nan
    for p in range(len(stages)):
        charges = stages[p] == BULK or stages[p] == ABSORPTION
        if charges == charging and not lowest <= volts[p]:
            lowest = volts[p]
    return lowest


def asked_of_charger(
    policy: int,
    lead: int,
    waited: bool,
    stages: Stages,
    volts: Numbers,
    amps: Numbers,
    at_limit: Stages,
) -> tuple[float, float]:
    """Voltage (V) and current (A) that the charger is asked for.

    Args:
        policy: index in `POLICIES`.
        lead: index of the lead pack.
        waited: whether the longest wait is over.
        stages: of each pack.
        volts: what each pack asks for, V.
        amps: and A.
        at_limit: whether each is inhibited by its cell limit.
    """
    if policy == LEAD:
        asked_v = volts[lead]
    else:
        over = waited
        if policy == ANY:
            over = False
            for p in range(len(stages)):
                over = over or stages[p] == FLOAT or stages[p] == EQUALISATION
        asked_v = lowest_v(stages, volts, not over)
        if not isfinite(asked_v):
            asked_v = lowest_v(stages, volts, over)
    asked_a = 0.0
    for p in range(len(stages)):
        asked_a += amps[p]
        if at_limit[p] and volts[p] < asked_v:
            asked_v = volts[p]
    return asked_v, asked_a
