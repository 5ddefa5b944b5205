"""A charger: constant current, then constant voltage, with a power limit and errors of its own.

It obeys what the bank asks for as far as it can: through messages that take time and can be lost,
with a set-point in steps, and by its own voltmeter, which regulates its own terminals. A voltmeter
that shows 20 mV too much makes it stop 20 mV too low.

**Remote sense.** Told what the packs' meters read, it raises or lowers its set-point slowly until
they read what was asked for:

    compensation += interval / time constant · (asked - reported), within ± the bound

It does so only while its voltage is what bounds its current (in constant current the difference says
nothing of the wiring), and not while the last message is older than `stale_s`: what it has
compensated until then stays.
"""

from __future__ import annotations

from math import inf, isfinite, nan
from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt
from attrs import field, frozen

from ctrl.limits import TIME_SLACK_S
from harness.errors import InputError
from harness.world.chance import stream_key, two_normal, uniform
from harness.world.checks import not_negative, number_within, positive
from harness.world.compiling import part
from harness.world.meter import DAY_S, quantised, steps_per_unit
from harness.world.network import BOUND_BITS, VOLTAGE
from harness.world.windows import checked_windows, windows_array, within

Floats = npt.NDArray[np.float64]
Keys = npt.NDArray[np.uint64]
CHARGER_STREAM = 2
# Messages on their way; more than this many intervals late is refused.
MOST_UNDERWAY = 4096


@frozen(kw_only=True)
class Link:
    """The messages from the packs to the charger: what the bank asks for, and what the packs read.

    Attributes:
        delay_s: how long a message takes, s; rounded to the charger's interval.
        loss_probability: share of the messages that never arrive.
        outages: stretches `(from s, to s)` in which no message that is sent arrives.
        stale_s: a charger that has heard nothing for longer than this takes it that nobody speaks, s.
        fallback_v: what it then regulates to, V; None: what it was asked for last.
        fallback_a: and its current, A; None: what it was asked for last.

    Raises:
        InputError: a value that no link has.
    """

    delay_s: float = field(default=0.0, validator=not_negative("s"))
    loss_probability: float = field(
        default=0.0, validator=number_within(0.0, 1.0, "(a probability)")
    )
    outages: tuple[tuple[float, float], ...] = field(default=(), validator=checked_windows)
    stale_s: float = field(default=10.0, validator=positive("s"))
    fallback_v: float | None = None
    fallback_a: float | None = None


@frozen(kw_only=True)
class RemoteSense:
    """Regulation of what the packs report in place of the charger's own terminals.

    Attributes:
        reported: which of the packs' readings counts: their `mean`, the `lowest`, the `highest`, or
            that of the `lead` pack.
        time_constant_s: how slowly it corrects, s.
        bound_v: the most that it corrects by, V.
    """

    reported: Literal["mean", "lowest", "highest", "lead"] = field(default="mean")
    time_constant_s: float = field(default=60.0, validator=positive("s"))
    bound_v: float = field(default=0.5, validator=not_negative("V"))

    @reported.validator
    def _known(self, _: object, value: str) -> None:
        if value not in _REPORTED:
            raise InputError(
                f"reported is {value!r}", column="reported", hint=f"one of {', '.join(_REPORTED)}"
            )


_REPORTED = ("mean", "lowest", "highest", "lead")


@frozen(kw_only=True)
class Charger:
    """A charger and its meter.

    Attributes:
        current_a: the most it gives, A.
        power_w: the most it gives at its own terminals, W; None for no limit.
        highest_v: the highest set-point, V, whatever is asked for.
        efficiency: power at its terminals over that of its source.
        meter_offset_v: what its voltmeter shows too much, V.
        meter_gain: factor of its voltmeter.
        meter_drift_v_per_day: how the offset grows, V a day.
        meter_noise_v: standard deviation of its noise at each correction, V.
        set_step_v: steps of the set-point, V; 0 for none.
        interval_s: how often it listens and corrects, s.
        link: how it hears from the packs.
        remote_sense: None: it regulates its own terminals.

    Raises:
        InputError: a value that no charger has.
    """

    current_a: float = field(default=60.0, validator=positive("A"))
    power_w: float | None = None
    highest_v: float = field(default=1000.0, validator=positive("V"))
    efficiency: float = field(
        default=0.95, validator=number_within(0.0, 1.0, "(a fraction)", above_low=True)
    )
    meter_offset_v: float = field(default=0.0, validator=number_within(-10.0, 10.0, "V"))
    meter_gain: float = field(default=1.0, validator=number_within(0.5, 2.0, "(a factor)"))
    meter_drift_v_per_day: float = field(default=0.0, validator=number_within(-1.0, 1.0, "V a day"))
    meter_noise_v: float = field(default=0.0, validator=not_negative("V"))
    set_step_v: float = field(default=0.0, validator=not_negative("V"))
    interval_s: float = field(default=1.0, validator=positive("s"))
    link: Link = Link()
    remote_sense: RemoteSense | None = None

    def __attrs_post_init__(self) -> None:
        if self.power_w is not None and not (0.0 < self.power_w < inf):
            raise InputError(f"power_w is {self.power_w!r}", column="power_w", hint="above 0 W")
        if self.link.delay_s > MOST_UNDERWAY * self.interval_s:
            raise InputError(
                f"delay_s {self.link.delay_s!r} with a message every {self.interval_s!r} s",
                column="link.delay_s",
                hint=f"at most {MOST_UNDERWAY * self.interval_s:g} s",
            )


# Entries of `ChargerNumbers.entries`.
CURRENT_A, POWER_W, HIGHEST_V, SOURCE_EFFICIENCY = range(4)
OFFSET_V, GAIN, DRIFT_V_PER_S, NOISE_V, SET_PER_UNIT, INTERVAL_S = range(4, 10)
DELAY_MESSAGES, LOSS, STALE_S, FALLBACK_V, FALLBACK_A = range(10, 15)
SENSES, REPORTED, TIME_CONSTANT_S, BOUND_V = range(15, 19)
CHARGER_ENTRIES = 19
BY_MEAN, BY_LOWEST, BY_HIGHEST, BY_LEAD = range(4)
# Entries of the state of a charger. `SET_V` is the set-point as its own meter shows it.
NEXT_S, MESSAGES, HEARD_S, HEARD_V, HEARD_A, SENSED_V = range(6)
COMPENSATION_V, SET_V, REGULATED_V, LIMIT_A = range(6, 10)
CHARGER_STATE_ENTRIES = 10
# Columns of the messages on their way: when sent, what was asked for, what was read, not lost.
_SENT_S, _ASKED_V, _ASKED_A, _READ_V, _ARRIVES = range(5)
MESSAGE_COLUMNS = 5


class ChargerNumbers(NamedTuple):
    """A charger as the compiled functions take it.

    Attributes:
        entries: shape (CHARGER_ENTRIES,).
        keys: of the streams for lost messages and for noise; shape (2,).
        outages: rows of owner (0), start and end.
    """

    entries: Floats
    keys: Keys
    outages: Floats


class ChargerState(NamedTuple):
    """What a charger remembers.

    Attributes:
        entries: shape (CHARGER_STATE_ENTRIES,).
        underway: messages on their way; shape (messages, MESSAGE_COLUMNS).
    """

    entries: Floats
    underway: Floats


def charger_numbers(charger: Charger, seed: int) -> ChargerNumbers:
    """The charger as numbers."""
    sense, link = charger.remote_sense, charger.link
    return ChargerNumbers(
        np.array(
            (
                charger.current_a,
                inf if charger.power_w is None else charger.power_w,
                charger.highest_v,
                charger.efficiency,
                charger.meter_offset_v,
                charger.meter_gain,
                charger.meter_drift_v_per_day / DAY_S,
                charger.meter_noise_v,
                steps_per_unit(charger.set_step_v),
                charger.interval_s,
                round(link.delay_s / charger.interval_s),
                link.loss_probability,
                link.stale_s,
                nan if link.fallback_v is None else link.fallback_v,
                nan if link.fallback_a is None else link.fallback_a,
                float(sense is not None),
                0.0 if sense is None else _REPORTED.index(sense.reported),
                1.0 if sense is None else sense.time_constant_s,
                0.0 if sense is None else sense.bound_v,
            ),
            dtype=np.float64,
        ),
        np.array([stream_key(seed, CHARGER_STREAM, k) for k in range(2)], np.uint64),
        windows_array([link.outages]),
    )


def start_charger(charger: Charger, asked_v: float, asked_a: float) -> ChargerState:
    """A charger that has just been asked for this, V and A."""
    entries = np.zeros(CHARGER_STATE_ENTRIES)
    entries[[HEARD_V, SET_V, REGULATED_V]] = asked_v
    entries[[HEARD_A, LIMIT_A]] = asked_a
    entries[SENSED_V] = nan
    underway = round(charger.link.delay_s / charger.interval_s) + 1
    return ChargerState(entries, np.zeros((underway, MESSAGE_COLUMNS)))


@part
def reported_v(which: float, lead: int, shown_v: Floats) -> float:
    """What the packs say that they read, V; NaN where one of them has not read anything; compiled."""
    if which == BY_LEAD:
        return float(shown_v[lead])
    total, lowest, highest = 0.0, inf, -inf
    for p in range(len(shown_v)):
        total += shown_v[p]
        lowest, highest = min(lowest, shown_v[p]), max(highest, shown_v[p])
    if not isfinite(total):
        return nan
    if which == BY_MEAN:
        return total / len(shown_v)
    return lowest if which == BY_LOWEST else highest


@part
def listen(
    charger: ChargerNumbers, state: ChargerState, t: float, asked: Floats, read_v: float
) -> bool:
    """Send a message and take in the one that arrives; returns whether one does; compiled."""
    entries, now, underway = charger.entries, state.entries, state.underway
    number = int(now[MESSAGES])
    now[MESSAGES] += 1.0
    arrives = not (charger.outages.shape[0] > 0 and within(charger.outages, 0, t))
    if arrives and entries[LOSS] > 0.0:
        arrives = uniform(charger.keys[0], number) >= entries[LOSS]
    if entries[DELAY_MESSAGES] == 0.0:
        if arrives:
            now[HEARD_S], now[HEARD_V], now[HEARD_A] = t, asked[0], asked[1]
            now[SENSED_V] = read_v
        return arrives
    sent = underway[number % underway.shape[0]]
    sent[_SENT_S], sent[_ASKED_V], sent[_ASKED_A], sent[_READ_V] = t, asked[0], asked[1], read_v
    sent[_ARRIVES] = 1.0 if arrives else 0.0
    arriving = number - int(entries[DELAY_MESSAGES])
    if arriving < 0:
        return False
    heard = underway[arriving % underway.shape[0]]
    if heard[_ARRIVES] == 0.0:
        return False
    now[HEARD_S], now[HEARD_V], now[HEARD_A] = heard[_SENT_S], heard[_ASKED_V], heard[_ASKED_A]
    now[SENSED_V] = heard[_READ_V]
    return True


@part
def correct(
    charger: ChargerNumbers,
    state: ChargerState,
    t: float,
    asked: Floats,
    lead: int,
    shown_v: Floats,
    network_state: float,
) -> None:
    """Listen and set the limits anew, where it is time to; compiled.

    Args:
        charger: the charger.
        state: what it remembers; changed in place.
        t: now, s.
        asked: voltage (V) and current (A) that the bank asks for.
        lead: index of the lead pack.
        shown_v: what the packs' meters showed last, V; NaN before they showed anything.
        network_state: of the network at the end of the step before.
    """
    entries, now = charger.entries, state.entries
    # The sums of decimal fractions of a second are not exact.
    if t < now[NEXT_S] - TIME_SLACK_S:
        return
    while now[NEXT_S] <= t + TIME_SLACK_S:
        now[NEXT_S] += entries[INTERVAL_S]
    read_v = nan
    if entries[SENSES] > 0.0:
        read_v = reported_v(entries[REPORTED], lead, shown_v)
    listen(charger, state, t, asked, read_v)
    wanted_v, wanted_a = now[HEARD_V], now[HEARD_A]
    silent = t - now[HEARD_S] > entries[STALE_S]
    if silent and isfinite(entries[FALLBACK_V]):
        wanted_v = entries[FALLBACK_V]
    if silent and isfinite(entries[FALLBACK_A]):
        wanted_a = entries[FALLBACK_A]
    by_voltage = int(network_state) & BOUND_BITS == VOLTAGE
    if entries[SENSES] > 0.0 and not silent and by_voltage and isfinite(now[SENSED_V]):
        moved_v = entries[INTERVAL_S] / entries[TIME_CONSTANT_S] * (now[HEARD_V] - now[SENSED_V])
        bound_v = entries[BOUND_V]
        now[COMPENSATION_V] = min(max(now[COMPENSATION_V] + moved_v, -bound_v), bound_v)
    now[SET_V] = min(
        quantised(wanted_v + now[COMPENSATION_V], entries[SET_PER_UNIT]), entries[HIGHEST_V]
    )
    off_v = entries[OFFSET_V] + entries[DRIFT_V_PER_S] * t
    if entries[NOISE_V] > 0.0:
        off_v += entries[NOISE_V] * two_normal(charger.keys[1], int(now[MESSAGES]))[0]
    now[REGULATED_V] = max((now[SET_V] - off_v) / entries[GAIN], 0.0)
    now[LIMIT_A] = min(max(wanted_a, 0.0), entries[CURRENT_A])


@part
def power_limit(charger: ChargerNumbers, source_w: float) -> float:
    """What it can give at its terminals from a source of this power, W; compiled."""
    entries = charger.entries
    return float(min(entries[POWER_W], entries[SOURCE_EFFICIENCY] * source_w))
