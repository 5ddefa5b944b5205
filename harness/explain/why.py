"""The reason for one pack on one day."""

from __future__ import annotations

import numpy as np

from harness.explain.bank_day import BankDay
from harness.explain.charge import ChargeDay
from harness.explain.never_started import never_started
from harness.explain.not_confirmed import not_confirmed, protection
from harness.explain.reason import Cause, Link, Reason, Sure
from harness.explain.was_full import not_followed, was_full

# A pack this far under entry_v, V a cell, was never on its way to full.
FAR_CELL_V = 0.06
# A current above this share of the capacity an hour is a charge in earnest.
FULL_CURRENT = 0.03


def why(bank: BankDay, pack: ChargeDay) -> Reason:
    """Why a pack was not called full on a day, or that it was."""
    by_rules = pack.rows_of("full_reset")
    recorded = pack.recorded_resets
    if recorded is not None and len(recorded):
        return was_full(bank, pack, recorded.tolist())
    if by_rules:
        if recorded is None:
            return was_full(bank, pack, by_rules)
        return not_followed(bank, pack, by_rules[0])
    if pack.peak < 0:
        return _not_charged(bank, pack, "There is no reading to go by.")
    if pack.rows_of("hold_started"):
        return not_confirmed(bank, pack)
    stopped = protection(bank, pack)
    if stopped is not None:
        return stopped
    short_v = pack.settings.entry_v - pack.peak_v
    if short_v > FAR_CELL_V * pack.settings.cells:
        told = f"It peaked at {pack.peak_v:.2f} V, {short_v:.2f} V under entry_v."
        return _faded(bank, pack, told) or _not_charged(bank, pack, told)
    return never_started(bank, pack)


def _faded(bank: BankDay, pack: ChargeDay, told: str) -> Reason | None:
    """A charge that had begun in earnest, and whose current went away."""
    i = np.where(pack.valid, pack.trace.i, np.nan)
    if np.nanmax(i) < FULL_CURRENT * pack.settings.capacity_ah:
        return None
    strong = np.flatnonzero(i >= 0.8 * np.nanmax(i))
    last = int(strong[-1])
    after_h = (float(pack.trace.t[-1]) - pack.stamp(last)) / 3600.0
    if after_h < 0.25:
        return None
    left_a = float(np.nanmedian(i[last + 1 :])) if last + 1 < len(i) else 0.0
    t = pack.stamp(last)
    chain = (
        Link("The pack was not called full, because it was not charged so far."),
        Link(told, t=pack.stamp(pack.peak)),
        Link(
            f"The current into it was {i[last]:.1f} A at first; from then on it was {left_a:.1f} A in the"
            f" middle of {after_h:.1f} h.",
            t=t, margin=float(i[last]) - left_a, unit="A",
        ),
    )  # fmt: skip
    return Reason(
        pack.ruled.name, bank.day.number, Cause.CLOUD, chain, Sure.READ,
        t=t, amount=float(i[last]) - left_a, unit="A",
    )  # fmt: skip


def _not_charged(bank: BankDay, pack: ChargeDay, told: str) -> Reason:
    chain = (Link("The pack was not charged so far that day.", rule=""), Link(told))
    t = pack.stamp(pack.peak) if pack.peak >= 0 else float("nan")
    return Reason(pack.ruled.name, bank.day.number, Cause.NOT_CHARGED, chain, Sure.READ, t)
