"""Changes that might help against each cause; what they do is tried elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import ceil, floor, isfinite

import numpy as np
from attrs import evolve

from ctrl.bank import BankSettings
from harness.explain.bank_day import BankDay
from harness.explain.charge import ChargeDay
from harness.explain.fitted import LEAD_ACID_BELOW_V, branch_of, with_branch
from harness.explain.fix import Candidate
from harness.explain.not_confirmed import held_from
from harness.explain.reason import Cause, Reason, plain
from harness.explain.setting_changes import SPARE_V, WEAKER, sets, some, with_settings
from harness.explain.voltage_changes import calibrate, lower_entry, raise_charger, sense, wire
from harness.run import Trace
from harness.world.bank import World
from harness.world.pack import Spread


def candidates(bank: BankDay, pack: ChargeDay, reason: Reason) -> list[Candidate]:
    """What might help a pack on a day, against one cause."""
    made = _BY_CAUSE.get(reason.cause)
    return [] if made is None else list(made(bank, pack, reason))


def _shorter_dwell(pack: ChargeDay) -> Candidate | None:
    longest_s, _, _ = pack.longest(pack.settings.entry_v)
    dwell_s = floor(longest_s)
    if not 0 < dwell_s < pack.settings.entry_dwell_s:
        return None
    told = f"shorten entry_dwell_s from {plain(pack.settings.entry_dwell_s)} to {dwell_s} s"
    return with_settings(
        pack, told, "a ripple or a short rise may start a hold", 1, entry_dwell_s=float(dwell_s)
    )


def _wait(pack: ChargeDay) -> Candidate | None:
    s = pack.settings
    if s.on_unconfirmed == "wait":
        return None
    told = "on_unconfirmed = wait, so that a pack that is denied is asked again when the voltage is back"
    return with_settings(pack, told, "the bank stays longer at the absorption voltage", 1, all_packs=True,
                 on_unconfirmed="wait", wait_limit_s=max(s.wait_limit_s, 3600.0))  # fmt: skip


def _shorter_hold(pack: ChargeDay) -> Candidate | None:
    """A hold that would have been over before the voltage went."""
    s = pack.settings
    longest_s, _, _ = pack.longest(s.full_v)
    hold_s = 30.0 * floor((longest_s - s.entry_dwell_s - s.confirm_s - 30.0) / 30.0)
    if not 60.0 <= hold_s < s.hold_s:
        return None
    told = f"shorten hold_s from {plain(s.hold_s)} to {plain(hold_s)} s"
    return with_settings(pack, told, WEAKER, 1, all_packs=True, hold_s=hold_s)


def _lower_full(pack: ChargeDay, reason: Reason) -> Candidate | None:
    s = pack.settings
    if reason.unit != "mV" or not reason.amount > 0:
        return None
    full_v = floor(100.0 * (s.full_v - 1e-3 * reason.amount - SPARE_V)) / 100.0
    if full_v < 3.37 * s.cells:
        # Down there a pack at rest passes it, whatever its charge.
        return None
    told = f"lower full_v from {plain(s.full_v)} to {plain(full_v)} V"
    return with_settings(pack, told, WEAKER, 1, all_packs=True, full_v=full_v)


def _every() -> Candidate:
    return Candidate(
        "ask for the absorption voltage until every pack has finished (policy every)",
        "packs that have finished stand longer at the absorption voltage",
        1,
        world=lambda before: evolve(before, bank=BankSettings(policy="every")),
    )


def _like_the_others(bank: BankDay, pack: ChargeDay) -> Candidate | None:
    usual = bank.usual_settings(pack)
    if usual is None:
        return None
    told = ", ".join(
        f"{name} = {plain(other) if isinstance(other, float) else other}"
        for name, _, other in bank.differing(pack)
    )
    name = pack.ruled.name
    return Candidate(f"give {name} the settings of the other packs: {told}", settings=usual,
                     world=sets(name, usual))  # fmt: skip


def _longer_gap(pack: ChargeDay, reason: Reason) -> Candidate | None:
    gap_s = 10.0 * ceil((reason.amount + 1.0) / 10.0)
    if not isfinite(gap_s) or gap_s > 600.0:
        return None
    told = f"raise max_gap_s from {plain(pack.settings.max_gap_s)} to {plain(gap_s)} s"
    return with_settings(pack, told, "what happened in a gap is counted as if the last reading stood", 1,
                 max_gap_s=gap_s)  # fmt: skip


def _mended(pack: ChargeDay, what: str) -> Candidate:
    """As if no row were missing and no stamp stepped back."""
    interval_s = pack.interval_s

    def whole(trace: Trace) -> Trace:
        apart_s = np.diff(trace.t)
        wrong = ~((apart_s >= 0.0) & (apart_s <= pack.settings.max_gap_s))
        apart_s = np.where(wrong, interval_s, apart_s)
        return evolve(trace, t=np.concatenate(([0.0], np.cumsum(apart_s))))

    def world(before: World) -> World:
        branch = branch_of(before, pack.ruled.name)
        meter = evolve(branch.meter, outages=(), missing_probability=0.0)
        return with_branch(before, branch.name, meter=meter)

    return Candidate(what, trace=whole, world=world)


def _by_voltage(bank: BankDay, pack: ChargeDay, _: Reason) -> Iterator[Candidate]:
    yield from some(
        calibrate(bank, pack),
        wire(bank, pack),
        sense(pack),
        lower_entry(pack),
        raise_charger(pack),
    )


def _by_flicker(_: BankDay, pack: ChargeDay, __: Reason) -> Iterator[Candidate]:
    yield from some(lower_entry(pack), _shorter_dwell(pack), raise_charger(pack))


def _by_recheck(_: BankDay, pack: ChargeDay, reason: Reason) -> Iterator[Candidate]:
    if not pack.rows_of("hold_started"):
        return  # without sun no setting helps
    if reason.cause is Cause.LOAD_AT_RECHECK:

        def world(before: World) -> World:
            return evolve(before, loads=evolve(before.loads, events=(), appliances=()))

        change = "keep heavy loads out of the hold, or let them wait until the pack is full"
        yield Candidate(change, trace=lambda _: held_from(pack, reason.t), world=world)
    yield from some(_wait(pack), _shorter_hold(pack), _lower_full(pack, reason))


def _by_lead(_: BankDay, pack: ChargeDay, __: Reason) -> Iterator[Candidate]:
    yield _every()
    yield from some(_shorter_hold(pack), lower_entry(pack))


def _by_gap(_: BankDay, pack: ChargeDay, reason: Reason) -> Iterator[Candidate]:
    yield _mended(
        pack, "find out why samples are missing: message link, logger, load of the processor"
    )
    yield from some(_longer_gap(pack, reason))


def _by_clock(_: BankDay, pack: ChargeDay, __: Reason) -> Iterator[Candidate]:
    yield _mended(pack, "stamp samples by a counter that only goes on, not by a clock that is set")


def _by_power(_: BankDay, pack: ChargeDay, __: Reason) -> Iterator[Candidate]:
    yield Candidate(f"find out why {pack.ruled.name} loses its power in the hold")


def _by_protection(_: BankDay, pack: ChargeDay, reason: Reason) -> Iterator[Candidate]:
    if reason.chain[-1].rule == "PROTECT.no-reading":
        yield _mended(pack, "find out why readings are missing: meter, message link, logger")
        return
    s = pack.settings
    cells = pack.trace.cell_max_v
    if cells is not None and np.isfinite(cells).any():
        spread_v = float(np.nanmax(cells)) - pack.peak_v / s.cells
        less_v = ceil(100.0 * max(spread_v * s.cells, 0.1)) / 100.0
        absorption_v = round(s.absorption_v - min(less_v, 0.05 * s.cells), 2)
        shift_v = s.absorption_v - absorption_v
        changes = {
            name: round(getattr(s, name) - shift_v, 3)
            for name in ("absorption_v", "entry_v", "full_v", "sag_v")
            if getattr(s, name) is not None
        }
        told = f"charge more gently until the cells are even: absorption_v {plain(absorption_v)} V"
        yield from some(
            with_settings(pack, f"{told}, and entry_v and full_v with it", WEAKER, 1, **changes)
        )

    def world(before: World) -> World:
        branch = branch_of(before, pack.ruled.name)
        return with_branch(
            before, branch.name, pack=evolve(branch.pack, odd_cells=(), spread=Spread())
        )

    change = "balance the cells, and look at the one that runs ahead; never raise its limit"
    yield Candidate(change, world=world)


def _by_taper(_: BankDay, pack: ChargeDay, reason: Reason) -> Iterator[Candidate]:
    s = pack.settings
    if s.taper_a is not None and isfinite(reason.amount):
        taper_a = ceil(s.taper_a + 1.1 * reason.amount)
        told = f"raise taper_a from {plain(s.taper_a)} to {taper_a} A"
        yield from some(with_settings(pack, told, WEAKER, 1, taper_a=float(taper_a)), _wait(pack))


def _by_settings(bank: BankDay, pack: ChargeDay, _: Reason) -> Iterator[Candidate]:
    yield from some(_like_the_others(bank, pack))
    if pack.rows_of("full_reset"):
        name = pack.ruled.name
        change = (
            f"read the settings back from the controller of {name}, and set what differs from these"
        )
        yield Candidate(change, trace=lambda trace: trace, world=sets(name, pack.settings))


def _by_count(_: BankDay, pack: ChargeDay, reason: Reason) -> Iterator[Candidate]:
    name, s = pack.ruled.name, pack.settings
    if s.absorption_v < LEAD_ACID_BELOW_V * s.cells and reason.amount > 0:
        # More has to go into a lead-acid cell than comes out: that is no fault of an ammeter.
        yield Candidate(
            f"look at charge_efficiency of {name} first ({plain(s.charge_efficiency)} now): part of the"
            " current into a lead-acid cell makes gas, and the cell maker's data say how much"
        )

    def world(before: World) -> World:
        branch = branch_of(before, name)
        return with_branch(before, name, meter=evolve(branch.meter, current_offset_a=0.0))

    yield Candidate(
        f"put the zero of the ammeter of {name} right; the voltages are well", world=world
    )


_BY_CAUSE: dict[Cause, Callable[[BankDay, ChargeDay, Reason], Iterator[Candidate]]] = {
    Cause.CHARGER_LOW: _by_voltage,
    Cause.WIRING: _by_voltage,
    Cause.METER_OFFSET: _by_voltage,
    Cause.WIRING_OR_METERS: _by_voltage,
    Cause.DWELL_FLICKER: _by_flicker,
    Cause.CLOUD: _by_recheck,
    Cause.LOAD_AT_RECHECK: _by_recheck,
    Cause.LEAD_PACK_EARLY: _by_lead,
    Cause.GAP: _by_gap,
    Cause.CLOCK_JUMP: _by_clock,
    Cause.POWER_LOST: _by_power,
    Cause.PROTECTION: _by_protection,
    Cause.TAPER: _by_taper,
    Cause.WRONG_SETTINGS: _by_settings,
    Cause.DRIFTED_COUNTER: _by_count,
}
