"""What a charger takes from the message of a pack: a request in force, and a reading to trust.

A message that is not good changes nothing at all; its pack only ages on. So nonsense on the line has
the same effect as silence, and silence leads to fallback and then to a stop.
"""

from __future__ import annotations

from math import isnan, nan

from ctrl.charger.settings import ChargerSettings
from ctrl.charger.state import Heard, Message
from ctrl.limits import TIME_SLACK_S


def believable_v(settings: ChargerSettings, voltage_v: float) -> bool:
    """Whether a voltage, asked or read, can be believed; NaN cannot."""
    low_v, high_v = settings.plausible_v
    return low_v <= voltage_v <= high_v


def believable_a(settings: ChargerSettings, current_a: float) -> bool:
    """Whether a current that was read can be believed; NaN cannot."""
    return -settings.plausible_a <= current_a <= settings.plausible_a


def good(settings: ChargerSettings, message: Message) -> bool:
    """Whether a message counts: believable requests, and not old by its own words."""
    return (
        believable_v(settings, message.request_v)
        and 0.0 <= message.request_a <= settings.plausible_a
        and 0.0 <= message.age_s <= settings.stale_s + TIME_SLACK_S
    )


def listened(
    settings: ChargerSettings, before: Heard, message: Message, t: float
) -> tuple[Heard, float]:
    """One pack, one sample on.

    Args:
        settings: the charger's settings.
        before: what was remembered of the pack.
        message: what lies before the charger now.
        t: time stamp, s; finite.

    Returns:
        What is then remembered, and the pack's voltage if this reading is good, V; else NaN.
    """
    if not good(settings, message):
        return before, nan
    heard_s = max(before.heard_s, t - message.age_s)
    pack_v, pack_a, changed_s = before.pack_v, before.pack_a, before.changed_s
    reads = believable_v(settings, message.pack_v)
    if reads:
        # A current that is missing is no sign of life: only one that differs is.
        current_a = message.pack_a if believable_a(settings, message.pack_a) else pack_a
        other_a = current_a != pack_a and not isnan(current_a)
        if message.pack_v != pack_v or other_a:
            changed_s = t
        pack_v, pack_a = message.pack_v, current_a
    after = Heard(message.request_v, message.request_a, heard_s, pack_v, pack_a, changed_s)
    frozen = t - changed_s >= settings.frozen_s - TIME_SLACK_S
    return after, pack_v if reads and not frozen else nan


def clock_set_back(heard: Heard, by_s: float) -> Heard:
    """What is remembered of a pack when the clock steps: ages stay what they were.

    Without this a pack heard at a stamp that is now in the future would look fresh until then.
    """
    return Heard(
        heard.request_v,
        heard.request_a,
        heard.heard_s + by_s,
        heard.pack_v,
        heard.pack_a,
        heard.changed_s + by_s,
    )


def strictest(packs: tuple[Heard, ...]) -> tuple[float, float]:
    """Voltage (V) and current (A) that all packs together ask for, by their requests in force.

    The lowest voltage counts. Currents add up, as the packs share what the charger gives; but a
    pack that asks for 0 A must get none, and a charger cannot single out one pack of a bank.
    """
    asked_v = min(heard.request_v for heard in packs)
    if any(heard.request_a == 0.0 for heard in packs):
        return asked_v, 0.0
    return asked_v, sum(heard.request_a for heard in packs)
