"""What might bring a voltage over its threshold: meters, wiring, the charger, or the threshold."""

from __future__ import annotations

from math import ceil, floor, isfinite
from typing import Any

import numpy as np
from attrs import evolve

from harness.explain.bank_day import BankDay
from harness.explain.charge import ChargeDay
from harness.explain.fitted import branch_of, with_branch
from harness.explain.fix import Candidate
from harness.explain.reason import plain
from harness.explain.setting_changes import HIGHER, SPARE_V, WEAKER, with_settings
from harness.explain.wiring import Apart
from harness.run import Trace
from harness.world.bank import World
from harness.world.charger import RemoteSense


def lower_entry(pack: ChargeDay) -> Candidate | None:
    """To a level at which the log stood for long enough."""
    s = pack.settings
    spare_v = SPARE_V * s.cells / 16
    needed_s = s.entry_dwell_s + 2.0 * pack.interval_s
    low_v, high_v = s.entry_v - 0.06 * s.cells, s.entry_v
    if pack.longest(low_v)[0] < needed_s:
        return None
    for _ in range(20):
        middle_v = 0.5 * (low_v + high_v)
        if pack.longest(middle_v)[0] >= needed_s:
            low_v = middle_v
        else:
            high_v = middle_v
    entry_v = floor(100.0 * (low_v - spare_v)) / 100.0
    shift_v = s.entry_v - entry_v
    changes: dict[str, Any] = {"entry_v": entry_v}
    told = f"lower entry_v of {pack.ruled.name} from {plain(s.entry_v)} to {plain(entry_v)} V"
    if s.full_v > entry_v - spare_v:
        changes["full_v"] = round(min(s.full_v, s.full_v - shift_v), 3)
        told += f", and full_v with it to {plain(changes['full_v'])} V"
    if s.sag_v is not None and s.sag_v > entry_v:
        changes["sag_v"] = round(s.sag_v - shift_v, 3)
    cell_v = entry_v / s.cells
    return with_settings(pack, told, f"{WEAKER}; {cell_v:.3f} V a cell", 1, **changes)


def raise_charger(pack: ChargeDay) -> Candidate | None:
    """By what is missing and a little, where no cell comes near its limit."""
    s = pack.settings
    short_v = s.entry_v - pack.peak_v
    if not isfinite(short_v) or short_v > 0.03 * s.cells:
        return None
    more_v = ceil(100.0 * (max(short_v, 0.0) + 2.0 * SPARE_V * s.cells / 16)) / 100.0
    limit_v = s.cell_limit_v
    cells = pack.trace.cell_max_v
    highest_v = float(np.nanmax(cells)) if cells is not None and np.isfinite(cells).any() else 0.0
    highest_v = max(highest_v, pack.peak_v / s.cells)
    if limit_v is not None and highest_v + more_v / s.cells > limit_v - 0.02:
        return None

    def higher(trace: Trace) -> Trace:
        # Only where the charger holds its voltage does the pack follow it.
        near = trace.v >= pack.peak_v - 0.1 * s.cells / 16
        return evolve(trace, v=np.where(near, trace.v + more_v, trace.v))

    def world(before: World) -> World:
        charger = before.charger
        return evolve(
            before, charger=evolve(charger, meter_offset_v=charger.meter_offset_v - more_v)
        )

    change = f"raise the charger's set-point by {1e3 * more_v:.0f} mV"
    risk = f"{HIGHER}; the highest cell read {highest_v:.3f} V"
    return Candidate(change, risk, 2, trace=higher, world=world)


def calibrate(bank: BankDay, pack: ChargeDay) -> Candidate | None:
    """Take the mismatch of the meters away: of the charger's where it differs from all packs."""
    own = pack.between
    if own is None or own.apart is not Apart.YES:
        return None
    mismatch_v, name = own.mismatch_v, pack.ruled.name
    others = [line.mismatch_v for line in bank.known_lines(pack)]
    charger = bool(others) and all(abs(o - mismatch_v) < 0.25 * abs(mismatch_v) for o in others)

    def right(trace: Trace) -> Trace:
        return evolve(trace, v=trace.v + mismatch_v)

    def world(before: World) -> World:
        if charger:
            whole = before.charger
            put_right = evolve(whole, meter_offset_v=whole.meter_offset_v - mismatch_v)
            return evolve(before, charger=put_right)
        branch = branch_of(before, name)
        return with_branch(before, name, meter=evolve(branch.meter, voltage_offset_v=0.0))

    change = (
        f"compare the charger's meter with a third one, and put it right: it reads {1e3 * mismatch_v:.0f}"
        " mV more than every pack"
        if charger
        else f"compare the meter of {name} with the charger's and a third one, and put right what is wrong:"
        f" they are {1e3 * mismatch_v:.0f} mV apart"
    )
    return Candidate(change, trace=right, world=world)


def wire(bank: BankDay, pack: ChargeDay) -> Candidate | None:
    """Make the way to the pack as good as that to the others, or twice as good."""
    own = pack.between
    if own is None or own.apart is not Apart.YES or own.wiring_ohm < 0.001:
        return None
    others = [line.wiring_ohm for line in bank.known_lines(pack)]
    usual_ohm = max(float(np.median(others)), 0.0) if others else 0.5 * own.wiring_ohm
    less_ohm = own.wiring_ohm - min(usual_ohm, 0.5 * own.wiring_ohm)

    def better(trace: Trace) -> Trace:
        return evolve(trace, v=trace.v + less_ohm * np.maximum(trace.i, 0.0))

    def world(before: World) -> World:
        branch = branch_of(before, pack.ruled.name)
        left_ohm = max(branch.contact_ohm - less_ohm, 0.0)
        return with_branch(before, branch.name, contact_ohm=left_ohm)

    change = (
        f"look at the joints and the cable to {pack.ruled.name}: {1e3 * own.wiring_ohm:.1f} mOhm lie between"
        f" it and the charger; {1e3 * (own.wiring_ohm - less_ohm):.1f} mOhm would do"
    )
    return Candidate(
        change, "work on a live bank is for who is licensed to", trace=better, world=world
    )


def sense(pack: ChargeDay) -> Candidate | None:
    """Let the charger regulate what the packs report."""
    own = pack.between
    if own is None or own.line is None:
        return None
    bound_v = max(0.1, abs(own.typical_v) * 1.5)

    def world(before: World) -> World:
        sense = RemoteSense(reported="lowest", bound_v=min(bound_v, 1.0))
        return evolve(before, charger=evolve(before.charger, remote_sense=sense))

    change = "let the charger regulate the voltage that the packs report (remote sense)"
    return Candidate(change, HIGHER, 2, world=world)
