"""A simulated bank fitted to one day of a log, to try what would change the voltages."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from typing import Any

import numpy as np
from attrs import evolve, frozen

from ctrl.bank import BankSettings
from ctrl.settings import Settings
from harness.explain.bank_day import BankDay
from harness.explain.charge import ChargeDay
from harness.explain.reason import Cause, Reason
from harness.explain.wiring import Apart
from harness.world.bank import Branch, Recording, World
from harness.world.cell import Cell, Pair
from harness.world.charger import Charger
from harness.world.curves import sulzer2019
from harness.world.fast import simulate_many
from harness.world.gassing import Gassing
from harness.world.loads import Loads
from harness.world.meter import Meter
from harness.world.pack import Pack
from harness.world.result import BankSummary
from harness.world.wiring import Lead

# Resistance of a cell of 100 Ah, ohm, and of the slow part of it: of the order that open data sets
# of LFP cells give; the log says little of them, and the end of a charge depends little on them.
SERIES_OHM, SLOW_OHM, SLOW_S = 0.0012, 0.0006, 30.0
# No lead-acid cell is charged at so much, no lithium cell at so little, V.
LEAD_ACID_BELOW_V = 2.9
# The simulated charge lasts so long at most, h.
MOST_H = 14.0
DEFAULT_SOC = 0.5


@frozen(eq=False)
class Tried:
    """What the fitted bank did.

    Attributes:
        resets: full resets of each pack, by its name.
        highest_cell_v: highest voltage of any cell, V.
        above_float_h: longest time that a pack stood above its float voltage, h.
        stopped: why the run ended early; empty where it did not.
    """

    resets: Mapping[str, int]
    highest_cell_v: float
    above_float_h: float
    stopped: str


def fitted(bank: BankDay, reason: Reason, shared_ohm: float = 0.0) -> World:
    """The bank of a day: capacities by the settings, wiring and meters as the log shows them.

    Args:
        bank: the day.
        reason: what is to be seen in it.
        shared_ohm: resistance of the conductor that all packs share, ohm.

    Raises:
        InputError: the parts do not fit together.
    """
    set_points = [p.set_point_v for p in bank.packs if isfinite(p.set_point_v)]
    asked_v = min(pack.settings.absorption_v for pack in bank.packs)
    short_v = asked_v - max(set_points) if set_points else 0.0
    current_a = _charging_a(bank)
    lowered = reason.cause is Cause.LEAD_PACK_EARLY
    return World(
        name="fitted",
        packs=tuple(_branch(pack) for pack in bank.packs),
        duration_s=_hours(bank) * 3600.0,
        main=Lead(length_m=0.5, mm2=95.0),
        main_contact_ohm=shared_ohm,
        charger=Charger(current_a=current_a, meter_offset_v=max(min(short_v, 5.0), -5.0)),
        bank=BankSettings(policy="any" if lowered else "every"),
        loads=Loads(base_w=min(bank.base_load_w(), 0.5 * current_a * asked_v)),
        recording=Recording(interval_s=60.0, samples=False),
        resolved=False,
    )


def cell_for(settings: Settings) -> Cell:
    """A cell of the chemistry that the settings are for, by the voltage at which they charge it."""
    scale = 100.0 / settings.capacity_ah
    cell = Cell(
        capacity_ah=settings.capacity_ah,
        series_ohm=SERIES_OHM * scale,
        pairs=(Pair(ohm=SLOW_OHM * scale, tau_s=SLOW_S),),
    )
    if settings.absorption_v < LEAD_ACID_BELOW_V * settings.cells:
        return evolve(cell, curve=sulzer2019(), gassing=Gassing())
    return cell


def _branch(pack: ChargeDay) -> Branch:
    s, cell = pack.settings, cell_for(pack.settings)
    found = pack.between
    known = found is not None and found.apart is Apart.YES
    ohm = max(found.wiring_ohm, 0.0) if known and found else 0.0
    mismatch_v = found.mismatch_v if known and found else 0.0
    if found is not None and not known and isfinite(found.typical_v):
        mismatch_v = found.typical_v
    return Branch(
        name=pack.ruled.name,
        pack=Pack(cell, count=s.cells, soc=_soc(pack)),
        lead=Lead(length_m=0.1, mm2=95.0),
        contact_ohm=ohm,
        meter=Meter(voltage_offset_v=-mismatch_v, voltage_noise_v=_noise(pack)),
        settings=s,
    )


def _soc(pack: ChargeDay) -> float:
    """The count at the lowest point of the day before the charge."""
    soc = pack.ruled.log.soc
    if soc is None:
        return DEFAULT_SOC
    part = soc[pack.start : pack.start + max(pack.peak, 1)]
    part = part[np.isfinite(part)]
    # From nearer to full than this nothing could be seen of the charge.
    return float(min(max(part.min(), 0.02), 0.95)) if len(part) else DEFAULT_SOC


def _noise(pack: ChargeDay) -> float:
    """How far a reading strays from the next while little happens, V."""
    steps = np.diff(pack.trace.v[pack.valid])
    if not len(steps):
        return 0.0
    return float(min(1.4826 * np.median(np.abs(steps - np.median(steps))) / np.sqrt(2.0), 0.05))


def _charging_a(bank: BankDay) -> float:
    """What the charger gives at most, A."""
    t = bank.packs[0].trace.t
    some = t[:: max(1, len(t) // 500)]
    totals = [
        sum(float(np.nan_to_num(pack.trace.i[pack.row_at(float(at))])) for pack in bank.packs)
        for at in some
        if isfinite(at)
    ]
    return max(float(np.quantile(totals, 0.98)) if totals else 0.0, 2.0)


def _hours(bank: BankDay) -> float:
    """How long the charge of the day may take, h."""
    return max(min((bank.day.stop_s - bank.day.start_s) / 3600.0, MOST_H), 1.0)


def tried(worlds: list[World]) -> list[Tried]:
    """Run these banks, on all cores."""
    return [
        _told(summary, "" if stop is None else stop.reason)
        for summary, _, stop in simulate_many(worlds)
    ]


def _told(summary: BankSummary, stopped: str) -> Tried:
    return Tried(
        resets={pack.name: len(pack.resets) for pack in summary.packs},
        highest_cell_v=max(pack.highest_cell_v for pack in summary.packs),
        above_float_h=max(pack.above_float_h for pack in summary.packs),
        stopped=stopped,
    )


def branch_of(world: World, name: str) -> Branch:
    """The branch of a name."""
    return next(branch for branch in world.packs if branch.name == name)


def with_branch(world: World, name: str, **changes: Any) -> World:
    """A world with one of its branches changed."""
    packs = tuple(
        evolve(branch, **changes) if branch.name == name else branch for branch in world.packs
    )
    return evolve(world, packs=packs)
