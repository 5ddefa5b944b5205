"""A day on which a pack was called full: all is well, or the count had drifted till then."""

from __future__ import annotations

import numpy as np

from ctrl.vocabulary import Stage
from harness.explain.bank_day import BankDay
from harness.explain.charge import ChargeDay
from harness.explain.reason import Cause, Link, Reason, Sure, plain

# A count that is out by so much at a reset is worth a word, a fraction.
JUMP = 0.03
# And an offset of the current that moves it by so much a day.
A_DAY = 0.03


def was_full(bank: BankDay, pack: ChargeDay, rows: list[int]) -> Reason:
    """What to say of a day with full resets at these rows of it."""
    name, day = pack.ruled.name, bank.day.number
    first = rows[0]
    t = pack.stamp(first)
    jump = _jump(pack, first)
    told = Link("The pack was called full.", t=t, rule="FULL.granted")
    drift = _offset_a(pack, rows)
    if jump is not None and jump > JUMP:
        link = Link(
            f"The count jumped from {100 * (1 - jump):.1f} % to 100 % at it: it had drifted by"
            f" {100 * jump:.1f} % since the last one.",
            t=t, margin=100 * jump, unit="%", rule="SOC.counts",
        )  # fmt: skip
        return Reason(name, day, Cause.DRIFTED_COUNTER, (told, link), Sure.READ, t, 100 * jump, "%")
    if drift is not None and abs(drift) * 24.0 / pack.settings.capacity_ah > A_DAY:
        a_day = 100 * drift * 24.0 / pack.settings.capacity_ah
        link = Link(
            f"From one full charge to the next the current adds up to {drift:+.2f} A in the mean, where it"
            f" should be 0: the count drifts by {a_day:+.1f} % a day.",
            t=t, margin=a_day, unit="%", rule="SOC.counts",
        )  # fmt: skip
        return Reason(name, day, Cause.DRIFTED_COUNTER, (told, link), Sure.READ, t, a_day, "%")
    return Reason(name, day, Cause.HEALTHY, (told,), Sure.READ, t)


def not_followed(bank: BankDay, pack: ChargeDay, row: int) -> Reason:
    """By the rules the pack was full, and its controller did not say so."""
    t, s = pack.stamp(row), pack.settings
    told = "`fullproof verify log:FILE` judges it requirement by requirement."
    asked = pack.ruled.log.voltage_request_v
    if asked is not None:
        stage = pack.ruled.stage[pack.start : pack.stop]
        charging = (stage == Stage.BULK) | (stage == Stage.ABSORPTION)
        values = asked[pack.start : pack.stop][charging]
        values = values[np.isfinite(values)]
        middle_v = float(np.median(values)) if len(values) else s.absorption_v
        if s.compensation_v_per_c == 0.0 and abs(middle_v - s.absorption_v) > 0.005:
            told = f"It asks for {middle_v:.2f} V where absorption_v is {plain(s.absorption_v)} V. {told}"
    recorded = pack.recorded_stage
    if recorded is not None and (recorded == Stage.FLOAT).all():
        kept = Link("The pack was in float all that day, as one that is full may be.", t=t)
        return Reason(pack.ruled.name, bank.day.number, Cause.HEALTHY, (kept,), Sure.READ, t)
    if recorded is not None and (recorded == Stage.BULK).all():
        told = f"The log has it in bulk all that day. {told}"
    chain = (
        Link("By the rules and these settings the pack was full.", t=t, rule="FULL.granted"),
        Link(
            "Its controller says nothing of it: it has other settings than these, or does not keep to"
            f" the rules. {told}",
            t=t, rule="FULL.granted",
        ),
    )  # fmt: skip
    return Reason(pack.ruled.name, bank.day.number, Cause.WRONG_SETTINGS, chain, Sure.READ, t)


def _jump(pack: ChargeDay, row: int) -> float | None:
    """By how much the recorded count was under 1 just before a reset."""
    soc = pack.ruled.log.soc
    if soc is None:
        return None
    before = soc[max(pack.start, pack.start + row - 30) : pack.start + row]
    before = before[np.isfinite(before)]
    return 1.0 - float(before[-1]) if len(before) else None


def _offset_a(pack: ChargeDay, rows: list[int]) -> float | None:
    """The mean current from the full reset before to this one, A; None where there is none."""
    log = pack.ruled.log
    if log.full_reset is not None:
        resets = np.flatnonzero(log.full_reset)
    else:
        resets = np.array(pack.ruled.rows("full_reset"), np.intp)
    here = pack.start + rows[0]
    before = resets[resets < here]
    if not len(before):
        return None
    part = slice(int(before[-1]), here + 1)
    t, i = log.trace.t[part], log.trace.i[part]
    whole = np.isfinite(t) & np.isfinite(i)
    t, i = t[whole], i[whole]
    apart_s = np.diff(t)
    # Over a gap nobody knows what flowed.
    fine = (apart_s > 0) & (apart_s <= pack.settings.max_gap_s)
    length_s = float(apart_s[fine].sum())
    if length_s < 12 * 3600.0:
        return None
    mean = 0.5 * (i[1:] + i[:-1])
    mean = np.where(mean > 0, mean * pack.settings.charge_efficiency, mean)
    return float((mean * apart_s)[fine].sum()) / length_s
