"""Why a hold never started: the voltage did not stand at or above `entry_v` for long enough."""

from __future__ import annotations

from math import isfinite, isnan

import numpy as np
from attrs import evolve

from harness.explain.bank_day import FOLLOWS_S, BankDay
from harness.explain.charge import ChargeDay
from harness.explain.reason import Cause, Link, Reason, Sure, plain
from harness.explain.ruled import holds_on
from harness.explain.wiring import Apart

HELD = "ENTRY.held-long-enough"
# A charger that stood at its set-point for less than this had no sun, or was told to go lower, s.
SHORT_S = 300.0
# More above entry_v than this is no flicker, mV.
CLEAR_MV = 60.0


def never_started(bank: BankDay, pack: ChargeDay) -> Reason:
    """The reason for a day on which no hold of a pack started."""
    s = pack.settings
    longest_s, first, last = pack.longest(s.entry_v)
    short_mv = 1e3 * (s.entry_v - pack.peak_v)
    chain = [Link("The pack was not called full, because its hold never started.", rule=HELD)]
    at = pack.stamp(last if last >= 0 else pack.peak)
    chain.append(
        Link(
            f"The longest stretch at or above entry_v ({plain(s.entry_v)} V) was"
            f" {longest_s:.1f} s of the {plain(s.entry_dwell_s)} s that are needed.",
            t=pack.stamp(first) if first >= 0 else pack.stamp(pack.peak),
            margin=s.entry_dwell_s - longest_s,
            unit="s",
            rule=HELD,
        )
    )
    if short_mv > 0:
        chain.append(
            Link(
                f"The pack peaked at {pack.peak_v:.3f} V, {short_mv:.0f} mV short.",
                t=pack.stamp(pack.peak),
                margin=short_mv,
                unit="mV",
                rule=HELD,
            )
        )
    for look in (_unlike, _lines, _cut_short, _flicker, _lowered, _charger):
        found = look(bank, pack, short_mv, at)
        if found is not None:
            cause, link, sure = found
            return Reason(
                pack.ruled.name,
                bank.day.number,
                cause,
                (*chain, link),
                sure,
                t=link.t if isfinite(link.t) else at,
                amount=link.margin,
                unit=link.unit,
            )
    return Reason(pack.ruled.name, bank.day.number, Cause.UNKNOWN, tuple(chain), Sure.READ, t=at)


_Found = tuple[Cause, Link, Sure] | None


def _unlike(bank: BankDay, pack: ChargeDay, _: float, at: float) -> _Found:
    """With the settings of the others the hold would have started."""
    usual = bank.usual_settings(pack)
    if usual is None or not len(holds_on(pack.trace, usual)):
        return None
    return Cause.WRONG_SETTINGS, unlike_the_others(bank, pack, at), Sure.SHOWN


def unlike_the_others(bank: BankDay, pack: ChargeDay, at: float) -> Link:
    """Which of the pack's settings are not those of the other packs."""
    told = "; ".join(
        f"{name} is {_told(own)}, and {_told(other)} on the other packs"
        for name, own, other in bank.differing(pack)
    )
    return Link(f"Its settings are not those of the other packs: {told}.", t=at)


def _told(value: object) -> str:
    return plain(value) if isinstance(value, float) else ("none" if value is None else str(value))


def _lines(bank: BankDay, pack: ChargeDay, short_mv: float, _: float) -> _Found:
    """With the wiring and the meters of the others, or with none of both, it would have started."""
    own = pack.between
    if own is None or own.line is None or short_mv <= -50.0:
        return None
    peak = pack.peak
    current_a = max(float(pack.trace.i[peak]), 0.0)
    if own.apart is not Apart.YES:
        if short_mv <= 0 or own.typical_v < 0.5e-3 * short_mv:
            return None
        gap_mv = 1e3 * own.typical_v
        link = Link(
            f"The charger read {gap_mv:.0f} mV more than the pack, and {own.apart.value}.",
            t=pack.stamp(peak), margin=gap_mv, unit="mV",
        )  # fmt: skip
        return Cause.WIRING_OR_METERS, link, Sure.GUESSED
    others = bank.known_lines(pack)
    bases = [(0.0, 0.0)]
    if others:
        bases.insert(
            0,
            (
                float(np.median([o.wiring_ohm for o in others])),
                float(np.median([o.mismatch_v for o in others])),
            ),
        )
    for base_ohm, base_v in bases:
        more_ohm, more_v = own.wiring_ohm - base_ohm, own.mismatch_v - base_v
        lifted = pack.trace.v + more_v + more_ohm * np.maximum(pack.trace.i, 0.0)
        if not len(holds_on(evolve(pack.trace, v=lifted), pack.settings)):
            continue
        wiring_mv, meter_mv = 1e3 * more_ohm * current_a, 1e3 * more_v
        beside = ", more than on the other packs" if base_ohm or base_v else ""
        if wiring_mv < 0.5:
            parts = f"{meter_mv:.0f} mV were a mismatch of the meters{beside}"
        elif meter_mv < 0.5:
            parts = (
                f"{wiring_mv:.0f} mV were the wiring: {1e3 * more_ohm:.1f} mOhm at"
                f" {current_a:.1f} A{beside}"
            )
        else:
            parts = (
                f"{meter_mv:.0f} mV were a mismatch of the meters and {wiring_mv:.0f} mV the wiring:"
                f" {1e3 * more_ohm:.1f} mOhm at {current_a:.1f} A{beside}"
            )
        link = Link(
            f"At that moment {parts}. Without that the hold would have started.",
            t=pack.stamp(peak),
            margin=meter_mv if meter_mv >= wiring_mv else 1e3 * more_ohm,
            unit="mV" if meter_mv >= wiring_mv else "mOhm",
        )
        return (Cause.METER_OFFSET if meter_mv >= wiring_mv else Cause.WIRING), link, Sure.SHOWN
    return None


def _cut_short(bank: BankDay, pack: ChargeDay, short_mv: float, at: float) -> _Found:
    """It stood well above, and was lowered before the dwell was over."""
    if short_mv > -CLEAR_MV:
        return None
    by = bank.lowered_by(pack, at - FOLLOWS_S, at + FOLLOWS_S)
    if by is None:
        return None
    name, t = by
    link = Link(
        f"{name} entered float at that time and lowered the voltage for all, though this pack stood"
        f" {-short_mv:.0f} mV above entry_v.",
        t=t, margin=-short_mv, unit="mV", rule="REQUEST.voltage",
    )  # fmt: skip
    return Cause.LEAD_PACK_EARLY, link, Sure.READ


def _flicker(_: BankDay, pack: ChargeDay, short_mv: float, at: float) -> _Found:
    """The voltage came to the level, and did not stay."""
    touches = pack.touches(pack.settings.entry_v)
    if short_mv > 0 or touches < 2:
        return None
    over_mv = -short_mv
    link = Link(
        f"It came to entry_v {touches} times and fell under it again each time; at most it was"
        f" {over_mv:.0f} mV above.",
        t=at, margin=over_mv, unit="mV", rule="ENTRY.held-long-enough",
    )  # fmt: skip
    return Cause.DWELL_FLICKER, link, Sure.READ


def _lowered(bank: BankDay, pack: ChargeDay, short_mv: float, _: float) -> _Found:
    """Another pack had finished, and the charger went lower."""
    peak_s = pack.stamp(pack.peak)
    by = bank.lowered_by(pack, peak_s - FOLLOWS_S, peak_s + FOLLOWS_S)
    if by is None:
        return None
    name, t = by
    still_a = float(pack.trace.i[pack.peak])
    link = Link(
        f"{name} entered float at that time and lowered the voltage for all; this pack still took"
        f" {still_a:.1f} A and was {max(short_mv, 0.0):.0f} mV under entry_v.",
        t=t, margin=max(short_mv, 0.0), unit="mV", rule="REQUEST.voltage",
    )  # fmt: skip
    return Cause.LEAD_PACK_EARLY, link, Sure.READ


def _charger(_: BankDay, pack: ChargeDay, *__: float) -> _Found:
    """The charger itself did not go so high: its set-point, or no sun."""
    s, peak = pack.settings, pack.peak
    set_point_v = pack.set_point_v
    if isnan(set_point_v):
        link = Link("The log has no voltage of the charger, so nobody can say what it did.")
        return Cause.UNKNOWN, link, Sure.GUESSED
    stood_s = pack.at_set_point_s
    if stood_s < SHORT_S or set_point_v < s.entry_v - 0.25 * s.cells / 16:
        after = pack.trace.i[peak : peak + int(FOLLOWS_S / pack.interval_s) + 1]
        link = Link(
            f"The charger stood near its highest voltage ({set_point_v:.2f} V) for {stood_s:.0f} s only;"
            f" then the current fell from {float(pack.trace.i[peak]):.1f} A to"
            f" {float(np.nanmin(after)):.1f} A.",
            t=pack.stamp(peak), margin=stood_s, unit="s",
        )  # fmt: skip
        return Cause.CLOUD, link, Sure.READ
    if set_point_v < s.entry_v + 0.005:
        low_mv = 1e3 * (s.entry_v - set_point_v)
        link = Link(
            f"The charger stood at {set_point_v:.3f} V, {low_mv:.0f} mV under entry_v.",
            t=pack.stamp(peak), margin=low_mv, unit="mV",
        )  # fmt: skip
        return Cause.CHARGER_LOW, link, Sure.READ
    gap_mv = 1e3 * (set_point_v - pack.peak_v)
    link = Link(
        f"The charger stood at {set_point_v:.3f} V by its own meter, {gap_mv:.0f} mV above what the"
        " pack read.",
        t=pack.stamp(peak), margin=gap_mv, unit="mV",
    )  # fmt: skip
    return Cause.WIRING_OR_METERS, link, Sure.GUESSED
