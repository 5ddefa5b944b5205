"""Why a hold that had started did not end in a full reset."""

from __future__ import annotations

from math import nan

import numpy as np
from attrs import evolve

from ctrl.vocabulary import Stage
from harness.explain.bank_day import BankDay
from harness.explain.charge import ChargeDay
from harness.explain.never_started import unlike_the_others
from harness.explain.reason import Cause, Link, Reason, Sure, plain
from harness.explain.ruled import resets_on
from harness.run import Trace

ABANDONED = "TIME.gap-abandons-hold"
VOLTAGE = "FULL.voltage"
# What is switched on takes more than this, W, and more than so many times the usual load.
LOAD_W, LOAD_TIMES = 600.0, 2.5


def not_confirmed(bank: BankDay, pack: ChargeDay) -> Reason:
    """The reason for a day on which a hold started and no full reset followed."""
    for look in (protection, _denied, _abandoned, _unfinished):
        found = look(bank, pack)
        if found is not None:
            return found
    chain = (Link("The pack was not called full, though a hold had started.", rule=VOLTAGE),)
    return Reason(pack.ruled.name, bank.day.number, Cause.UNKNOWN, chain, Sure.READ)


def protection(bank: BankDay, pack: ChargeDay) -> Reason | None:
    """Protection that stood in the way, of a pack that was on its way to full."""
    trips = [
        each
        for each in pack.happened
        if each.event.name == "inhibited"
        and each.event.from_stage in (Stage.BULK, Stage.ABSORPTION)
    ]
    if pack.recorded_stage is not None and not (pack.recorded_stage == Stage.INHIBITED).any():
        # Its controller says that it never blocked: what the rules make of these rows is not what was.
        return None
    # A reading that is missing once the voltage has been at its highest has kept nothing from full.
    trips = [t for t in trips if t.event.cause != "no_reading"] or [
        t for t in trips if t.row <= pack.peak
    ]
    if not trips:
        return None
    first, s = trips[0], pack.settings
    t, trace = pack.stamp(first.row), pack.trace
    if first.event.cause == "cell_voltage" and trace.cell_max_v is not None:
        cell_v = float(trace.cell_max_v[first.row])
        limit_v = s.cell_limit_v or nan
        mean_v = float(trace.v[first.row]) / s.cells
        link = Link(
            f"The highest cell read {cell_v:.3f} V, at or above cell_limit_v ({plain(limit_v)} V),"
            f" while the cells had {mean_v:.3f} V in the mean.",
            t=t, margin=1e3 * (cell_v - mean_v), unit="mV", rule="PROTECT.cell-trips",
        )  # fmt: skip
    elif first.event.cause == "temperature":
        link = Link(
            "A temperature was outside charge_min_c to charge_max_c.",
            t=t, rule="PROTECT.temperature-trips",
        )  # fmt: skip
    else:
        link = Link("There was no reading for too long.", t=t, rule="PROTECT.no-reading")
    chain = (
        Link("The pack was not called full, because protection stood in the way.", t=t),
        Link(
            f"Charging was inhibited {times(len(trips))} that day, first out of"
            f" {first.event.from_stage.word}.",
            t=t, margin=float(len(trips)), unit="", rule=link.rule,
        ),
        link,
    )  # fmt: skip
    return Reason(
        pack.ruled.name, bank.day.number, Cause.PROTECTION, chain, Sure.READ,
        t=t, amount=link.margin, unit=link.unit,
    )  # fmt: skip


def _abandoned(bank: BankDay, pack: ChargeDay) -> Reason | None:
    """A gap, a clock that stepped back, or a loss of power in the hold."""
    restarts = [k - pack.start for k in pack.ruled.log.restarts if pack.start < k < pack.stop]
    stage = pack.ruled.stage[pack.start : pack.stop]
    lost = [k for k in restarts if stage[k - 1] == Stage.ABSORPTION]
    rows = [
        each.row
        for each in pack.happened
        if each.event.name == "hold_abandoned" and each.event.cause == "discontinuity"
    ]
    if not rows and not lost:
        return None
    row = (lost or rows)[-1]
    before = _valid_before(pack, row)
    apart_s = pack.stamp(row) - pack.stamp(before)
    s = pack.settings
    if lost:
        cause, what = Cause.POWER_LOST, "the controller started anew"
    elif apart_s < 0:
        cause, what = Cause.CLOCK_JUMP, f"the clock stepped back by {-apart_s:.1f} s"
    else:
        cause = Cause.GAP
        what = f"for {apart_s:.0f} s there was no sample, and max_gap_s is {plain(s.max_gap_s)} s"
    chain = (
        Link("The pack was not called full, because its hold was abandoned.", rule=ABANDONED),
        Link(
            f"It was abandoned {times(len(lost or rows))} that day; the last time {what}.",
            t=pack.stamp(before), margin=apart_s, unit="s", rule=ABANDONED,
        ),
    )  # fmt: skip
    return Reason(
        pack.ruled.name, bank.day.number, cause, chain, Sure.READ,
        t=pack.stamp(before), amount=apart_s, unit="s",
    )  # fmt: skip


def _valid_before(pack: ChargeDay, row: int) -> int:
    before = np.flatnonzero(pack.valid[:row])
    return int(before[-1]) if len(before) else max(row - 1, 0)


def _denied(bank: BankDay, pack: ChargeDay) -> Reason | None:
    """The hold ended, and the recheck said no."""
    rows = pack.rows_of("full_denied")
    if not rows:
        return None
    row, s = rows[-1], pack.settings
    t, level_v, current_a = pack.stamp(row), float(pack.level_v[row]), float(pack.trace.i[row])
    short_mv = 1e3 * (s.full_v - level_v)
    head = Link("The pack was not called full, because the recheck at the end of the hold said no.",
                t=t, rule="FULL.denied")  # fmt: skip
    usual = bank.usual_settings(pack)
    if usual is not None and len(resets_on(pack.trace, usual)):
        return _reason(
            bank, pack, Cause.WRONG_SETTINGS, (head, unlike_the_others(bank, pack, t)), Sure.SHOWN
        )
    if short_mv <= 0 and s.taper_a is not None and abs(current_a) > s.taper_a:
        over_a = abs(current_a) - s.taper_a
        link = Link(
            f"The current was {current_a:.1f} A, {over_a:.1f} A more than taper_a ({plain(s.taper_a)} A).",
            t=t, margin=over_a, unit="A", rule="FULL.taper",
        )  # fmt: skip
        return _reason(bank, pack, Cause.TAPER, (head, link), Sure.READ)
    low = Link(
        f"The voltage was {level_v:.3f} V then, {short_mv:.0f} mV under full_v ({plain(s.full_v)} V).",
        t=t, margin=short_mv, unit="mV", rule=VOLTAGE,
    )  # fmt: skip
    began = [k for k in pack.rows_of("hold_started") if k <= row]
    began_s = pack.stamp(began[-1]) if began else t - s.hold_s
    by = bank.lowered_by(pack, began_s, t)
    if by is not None and _was_full_before(pack, by[1]):
        name, lowered_s = by
        early_min = (t - lowered_s) / 60.0
        link = Link(
            f"{name} had entered float {early_min:.1f} min before, and lowered the voltage for all.",
            t=lowered_s, margin=t - lowered_s, unit="s", rule="REQUEST.voltage",
        )  # fmt: skip
        return _reason(
            bank, pack, Cause.LEAD_PACK_EARLY, (head, low, link), _if_held(pack, lowered_s)
        )
    fell_s = _fell(pack, row)
    # What was on before the sag, and what was on at its worst.
    power_w = min(bank.power_w(t), bank.power_w(fell_s + 5.0))
    load_w, usual_w = -power_w, bank.base_load_w()
    if load_w > max(LOAD_W, LOAD_TIMES * usual_w):
        link = Link(
            f"The packs delivered {load_w:.0f} W at that time; usually it is {usual_w:.0f} W.",
            t=fell_s, margin=load_w, unit="W",
        )  # fmt: skip
        return _reason(bank, pack, Cause.LOAD_AT_RECHECK, (head, low, link), _if_held(pack, fell_s))
    link = Link(
        f"From {_ago(t - fell_s)} before it on the charger gave too little: the current into the pack"
        f" was {current_a:.1f} A.",
        t=fell_s, margin=t - fell_s, unit="s",
    )  # fmt: skip
    return _reason(bank, pack, Cause.CLOUD, (head, low, link), _if_held(pack, fell_s))


def times(count: int) -> str:
    """`once`, `3 times`."""
    return "once" if count == 1 else f"{count} times"


def _ago(seconds: float) -> str:
    return f"{seconds / 60.0:.1f} min" if seconds >= 90.0 else f"{seconds:.0f} s"


def _was_full_before(pack: ChargeDay, t: float) -> bool:
    """Whether the voltage stood at full_v just before a stamp."""
    row = pack.row_at(t)
    before = pack.level_v[max(row - 60, 0) : row + 1]
    return len(before) > 0 and float(np.nanmax(before)) >= pack.settings.full_v


def _fell(pack: ChargeDay, row: int) -> float:
    """When the voltage fell under full_v for the last time before a row, s."""
    above = np.flatnonzero(pack.level_v[:row] >= pack.settings.full_v)
    return pack.stamp(int(above[-1]) + 1) if len(above) else pack.stamp(row)


def held_from(pack: ChargeDay, since_s: float) -> Trace:
    """The trace of the day had voltage and current stayed as they were at a stamp."""
    row = pack.row_at(since_s)
    v, i = pack.trace.v.copy(), pack.trace.i.copy()
    stood = slice(max(row - 30, 0), max(row, 1))
    v[row:] = float(np.nanmedian(v[stood]))
    i[row:] = min(float(np.nanmedian(i[stood])), pack.settings.taper_a or np.inf)
    return evolve(pack.trace, v=v, i=i)


def _if_held(pack: ChargeDay, since_s: float) -> Sure:
    """Shown where the pack would have been full had the voltage stayed as it was."""
    return Sure.SHOWN if len(resets_on(held_from(pack, since_s), pack.settings)) else Sure.READ


def _unfinished(bank: BankDay, pack: ChargeDay) -> Reason | None:
    """The day ended before the hold did."""
    rows = pack.rows_of("hold_started")
    if not rows:
        return None
    t = pack.stamp(rows[-1])
    s = pack.settings
    usual = bank.usual_settings(pack)
    head = Link(
        "The pack was not called full, because its hold had not ended.", t=t, rule="HOLD.ends"
    )
    if usual is not None and len(resets_on(pack.trace, usual)):
        return _reason(
            bank, pack, Cause.WRONG_SETTINGS, (head, unlike_the_others(bank, pack, t)), Sure.SHOWN
        )
    went_s = float(pack.trace.t[-1]) - t
    link = Link(
        f"It began {went_s:.0f} s before the log of that day ends, and hold_s is {plain(s.hold_s)} s.",
        t=t, margin=s.hold_s - went_s, unit="s", rule="HOLD.full-length",
    )  # fmt: skip
    return _reason(bank, pack, Cause.UNKNOWN, (head, link), Sure.READ)


def _reason(
    bank: BankDay, pack: ChargeDay, cause: Cause, chain: tuple[Link, ...], sure: Sure
) -> Reason:
    last = chain[-1]
    return Reason(
        pack.ruled.name, bank.day.number, cause, chain, sure,
        t=last.t, amount=last.margin, unit=last.unit,
    )  # fmt: skip
