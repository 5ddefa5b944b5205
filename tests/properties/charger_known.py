"""What messages are worth and how old they are, worked out in the plainest way, sample by sample.

Nothing of this is taken from the charger: ages are summed up here, where it keeps stamps.
"""

from __future__ import annotations

from math import inf, isfinite, nan

from attrs import frozen

from ctrl.charger import ChargerSettings, Message
from tests.properties.charger_walks import Turn

SLACK_S = 1e-9


def is_good(settings: ChargerSettings, message: Message) -> bool:
    low_v, high_v = settings.plausible_v
    return (
        low_v <= message.request_v <= high_v
        and 0 <= message.request_a <= settings.plausible_a
        and 0 <= message.age_s <= settings.stale_s + SLACK_S
    )


@frozen
class Known:
    """What follows from the messages up to a sample, whatever the charger makes of it.

    Attributes:
        asked_v: lowest request in force, V; infinity before there is one.
        asked_a: sum of the requests in force, 0 where one is 0, A.
        oldest_s: age of the oldest message in force, s; infinity where a pack was never heard.
        dt: seconds since the sample before, 0 over a break.
        joined: whether it is continuous with the sample before.
    """

    asked_v: float
    asked_a: float
    oldest_s: float
    dt: float
    joined: bool


def known(settings: ChargerSettings, turns: list[Turn]) -> list[Known]:
    """One row for each sample; one without a finite stamp repeats the row before it."""
    requests: list[tuple[float, float]] = [(inf, inf)] * settings.packs
    ages = [inf] * settings.packs
    last_t = nan
    rows = list[Known]()
    row = Known(inf, inf, inf, 0.0, False)
    for turn in turns:
        t = turn.sample.t
        if isfinite(t):
            passed_s = t - last_t if isfinite(last_t) else inf
            joined = -SLACK_S <= passed_s <= settings.max_gap_s + SLACK_S
            for p, message in enumerate(turn.sample.messages):
                ages[p] += max(passed_s, 0.0)
                if is_good(settings, message):
                    ages[p] = min(ages[p], message.age_s)
                    requests[p] = (message.request_v, message.request_a)
            amps = [current_a for _, current_a in requests]
            row = Known(
                min(voltage_v for voltage_v, _ in requests),
                0.0 if 0.0 in amps else sum(amps),
                max(ages),
                passed_s if joined else 0.0,
                joined,
            )
            last_t = t
        rows.append(row)
    return rows
