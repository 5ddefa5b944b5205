"""Every change that might help is tried: replayed on the log, or simulated, and ranked."""

from __future__ import annotations

from math import nan

from harness.errors import InputError
from harness.explain.bank_day import BankDay
from harness.explain.candidates import candidates
from harness.explain.charge import ChargeDay
from harness.explain.explained import Explained
from harness.explain.fitted import Tried, fitted, tried
from harness.explain.fix import Candidate, Fix, How
from harness.explain.reason import Reason
from harness.explain.ruled import holds_on, resets_on
from harness.world.bank import World

# A simulated cell this near its limit, V, rules a change out.
NEAR_LIMIT_V = 0.02


def fixes(explained: Explained, reason: Reason) -> list[Fix]:
    """What might help against a reason, the best first; nothing that takes a cell over its limit."""
    bank = next(b for b in explained.banks if b.day.number == reason.day)
    pack = next(p for p in bank.packs if p.ruled.name == reason.pack)
    found = candidates(bank, pack, reason)
    if not found:
        return []
    days = _bad_days(explained, reason)
    shared_ohm = explained.shared.ohm if explained.shared else 0.0
    simulated = _simulated(bank, reason, found, shared_ohm)
    made = [
        _fix(candidate, days, pack, what) for candidate, what in zip(found, simulated, strict=True)
    ]
    limit_v = pack.settings.cell_limit_v
    safe = [
        fix
        for fix in made
        if limit_v is None or fix.danger != 2 or not fix.highest_cell_v > limit_v - NEAR_LIMIT_V
    ]
    return sorted(safe, key=_rank)


def _rank(fix: Fix) -> tuple[int, int, int, int]:
    """What helps first, of that the harmless; what was tried before what was not."""
    helps = {True: 0, None: 1 if fix.starts else 2, False: 3}[fix.helps]
    return helps, fix.danger, -fix.days, 0 if fix.how is How.REPLAYED else 1


def _bad_days(explained: Explained, reason: Reason) -> list[ChargeDay]:
    """The days on which this pack was not well for the same cause."""
    numbers = {r.day for r in explained.of(reason.pack) if r.cause is reason.cause}
    return [
        pack
        for bank in explained.banks
        if bank.day.number in numbers
        for pack in bank.packs
        if pack.ruled.name == reason.pack
    ]


def _simulated(
    bank: BankDay, reason: Reason, found: list[Candidate], shared_ohm: float
) -> list[Tried | None]:
    """What a fitted bank did with each; None where it does not show the trouble to begin with."""
    try:
        world = fitted(bank, reason, shared_ohm)
        worlds: list[World] = [world]
        at = []
        for candidate in found:
            if candidate.world is None:
                at.append(-1)
                continue
            at.append(len(worlds))
            worlds.append(candidate.world(world))
        done = tried(worlds)
    except InputError:
        return [None] * len(found)
    if done[0].resets.get(reason.pack, 0) > 0:
        return [None] * len(found)
    return [done[k] if k >= 0 else None for k in at]


def _fix(candidate: Candidate, days: list[ChargeDay], pack: ChargeDay, what: Tried | None) -> Fix:
    replayed = 0
    can_replay = candidate.settings is not None or candidate.trace is not None
    if can_replay:
        replayed = sum(_resets(candidate, day) for day in days)
    simulated = None if what is None else what.resets.get(pack.ruled.name, 0) > 0
    starts = can_replay and not replayed and any(_starts(candidate, day) for day in days)
    helps: bool | None
    if replayed:
        helps, how = True, How.REPLAYED
    elif simulated is not None:
        helps, how = simulated, How.SIMULATED
    elif can_replay:
        # A hold that starts later than it should may end after the voltage was lowered.
        helps, how = None if starts else False, How.REPLAYED
    else:
        helps, how = None, How.NOT_TRIED
    return Fix(
        change=candidate.change,
        how=how,
        helps=helps,
        starts=starts,
        days=replayed,
        of_days=len(days),
        highest_cell_v=nan if what is None else what.highest_cell_v,
        above_float_h=nan if what is None else what.above_float_h,
        risk=candidate.risk,
        danger=candidate.danger,
        world=candidate.world,
    )


def _starts(candidate: Candidate, day: ChargeDay) -> bool:
    if day.rows_of("hold_started"):
        return False
    trace = day.trace if candidate.trace is None else candidate.trace(day.trace)
    settings = day.settings if candidate.settings is None else candidate.settings
    return len(holds_on(trace, settings)) > 0


def _resets(candidate: Candidate, day: ChargeDay) -> bool:
    trace = day.trace if candidate.trace is None else candidate.trace(day.trace)
    settings = day.settings if candidate.settings is None else candidate.settings
    return len(resets_on(trace, settings)) > 0
