"""Each planted cause does what it says in the simulated bank, and nothing else does it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ctrl.compiled import replay
from ctrl.controller import start
from ctrl.vocabulary import Stage
from harness.logs.mapping import read_mapping
from harness.logs.read import read_log
from tests.explain.planted import (
    CAUSES,
    MAPPING,
    PLANTS,
    Planted,
    Recorded,
    log_of,
    planted,
    record,
    resets_without,
    stays_in_charge,
    write,
)

EVERY = [(cause, k) for cause, (_, count) in PLANTS.items() for k in range(count)]
# With these every pack has its full reset all the same.
RESET_ALL_THE_SAME = ("drifted_counter", "healthy")


def events(recorded: Recorded, pack: int, *names: str) -> list[float]:
    """When these happened to a pack, s."""
    return [e.t for e in recorded.result.events if e.pack == pack and e.name in names]


def ran(cause: str, k: int = 0) -> tuple[Planted, Recorded]:
    each = planted(cause, k)
    return each, record(each)


def test_forty_logs_of_every_cause() -> None:
    assert tuple(PLANTS) == CAUSES
    assert len(EVERY) == 40
    assert min(count for _, count in PLANTS.values()) == 3
    assert len({planted(cause, k).name for cause, k in EVERY}) == 40


@pytest.mark.parametrize(("cause", "k"), EVERY)
def test_affected_packs_have_no_full_reset_and_would_have_one_without_the_cause(
    cause: str, k: int
) -> None:
    each, recorded = ran(cause, k)
    assert each.cause == cause
    assert all(count >= 1 for count in resets_without(each))
    for p, count in enumerate(recorded.resets):
        expected_none = p in each.affected and cause not in RESET_ALL_THE_SAME
        # Whatever blocks one pack of a bank at its cell limit lowers the voltage for all.
        if expected_none or cause == "protection":
            assert count == 0, each.name
        else:
            assert count >= 1, each.name
    if each.pack is not None and cause != "lead_pack_early":
        assert each.affected == (each.pack,)


@pytest.mark.parametrize("cause", ["wiring", "meter_offset", "dwell_flicker"])
@pytest.mark.parametrize("k", range(3))
def test_hold_never_starts(cause: str, k: int) -> None:
    each, recorded = ran(cause, k)
    (pack,) = each.affected
    assert not events(recorded, pack, "hold_started")
    peak_v = float(recorded.samples[pack].trace.v.max())
    entry_v = each.told[pack].entry_v
    assert peak_v >= entry_v if cause == "dwell_flicker" else 0 < entry_v - peak_v < 1


@pytest.mark.parametrize(("k", "ohm"), [(0, 0.035), (2, 0.028)])
def test_wiring_takes_from_the_pack_what_it_lacks(k: int, ohm: float) -> None:
    each, recorded = ran("wiring", k)
    assert each.pack is not None
    bank, pack = recorded.result.bank, recorded.result.packs[each.pack]
    peak = int(np.argmax(pack.true_v))
    dropped_v = ohm * float(pack.true_a[peak])
    missing_v = each.told[each.pack].entry_v - float(pack.true_v[peak])
    assert 0.0 < missing_v < dropped_v
    lead_ohm = ohm + 0.0005 + recorded.result.world.packs[each.pack].lead.ohm
    assert bank.bus_v[peak] - pack.true_v[peak] == pytest.approx(
        lead_ohm * pack.true_a[peak], abs=1e-9
    )


def test_flicker_breaks_the_dwell_many_times() -> None:
    each, recorded = ran("dwell_flicker")
    (pack,) = each.affected
    above = recorded.samples[pack].trace.v >= each.told[pack].entry_v
    edges = np.flatnonzero(np.diff(np.concatenate(([False], above, [False])).astype(np.int8)))
    lengths_s = edges[1::2] - edges[::2]
    assert len(lengths_s) > 500
    assert 10 <= lengths_s.max() <= each.told[pack].entry_dwell_s


@pytest.mark.parametrize("cause", ["load_at_recheck", "lead_pack_early"])
def test_hold_ends_denied(cause: str) -> None:
    each, recorded = ran(cause, 1)
    for pack in each.affected:
        assert events(recorded, pack, "full_denied")
        assert not events(recorded, pack, "hold_abandoned")


def test_load_is_there_when_the_hold_ends() -> None:
    each, recorded = ran("load_at_recheck")
    for pack in each.affected:
        (denied_s,) = events(recorded, pack, "full_denied")
        row = int(np.searchsorted(recorded.result.bank.t, denied_s))
        bank = recorded.result.bank
        # Most of 1600 W at 93 %, and of 54 V: 32 A.
        assert bank.load_a[row] > 30.0
        assert recorded.samples[pack].trace.i[row] < -3.0


def test_lead_pack_finishes_in_the_hold_of_the_others() -> None:
    each, recorded = ran("lead_pack_early")
    assert each.pack == 0
    (full_s,) = events(recorded, 0, "full_reset")
    for pack in each.affected:
        (started_s,) = events(recorded, pack, "hold_started")
        (denied_s,) = events(recorded, pack, "full_denied")
        assert started_s + 600.0 < full_s < denied_s - 600.0


def test_clouds_come_during_the_hold_or_before_it() -> None:
    each, recorded = ran("cloud", 0)
    assert all(events(recorded, pack, "full_denied") for pack in each.affected)
    each, recorded = ran("cloud", 2)
    assert not any(events(recorded, pack, "hold_started") for pack in each.affected)


@pytest.mark.parametrize("k", range(3))
def test_gaps_abandon_every_hold_and_neither_log_nor_controller_has_the_samples(k: int) -> None:
    each, recorded = ran("gap", k)
    (pack,) = each.affected
    abandoned = events(recorded, pack, "hold_abandoned")
    assert len(abandoned) >= 2
    samples = recorded.samples[pack]
    behind = np.searchsorted(samples.true_t, abandoned)
    lost_s = samples.true_t[behind] - samples.true_t[behind - 1]
    assert (lost_s > each.told[pack].max_gap_s).all()
    assert len(log_of(each, recorded).packs[pack]) == len(samples)


@pytest.mark.parametrize("k", range(3))
def test_clock_steps_back_in_every_hold_and_the_bank_is_what_it_would_be(k: int) -> None:
    each, recorded = ran("clock_jump", k)
    assert each.clock is not None
    samples = recorded.samples[each.clock.pack]
    # What makes the second asking of the reference exact.
    assert stays_in_charge(samples)
    back = np.flatnonzero(np.diff(samples.trace.t) < 0.0)
    assert len(back) >= 10
    in_hold = samples.answers.stage[back] == Stage.ABSORPTION
    assert np.count_nonzero(in_hold) >= 2
    assert (samples.answers.stage[back[in_hold] + 1] == Stage.BULK).all()


@pytest.mark.parametrize("k", range(3))
def test_count_is_wrong_by_many_percent_before_the_last_reset(k: int) -> None:
    each, recorded = ran("drifted_counter", k)
    for p, pack in enumerate(recorded.result.summary.packs):
        last = pack.resets[-1]
        assert last.counted_before is not None
        error = abs(last.counted_before - last.true_soc)
        assert error > 0.04 if p == each.pack else error < 0.015


@pytest.mark.parametrize("k", range(3))
def test_protection_is_tripped_by_the_odd_cell(k: int) -> None:
    each, recorded = ran("protection", k)
    assert each.pack is not None
    for p in range(len(recorded.samples)):
        assert bool(events(recorded, p, "inhibited")) == (p == each.pack)
    read_v = recorded.samples[each.pack].trace.cell_max_v
    assert read_v is not None
    assert read_v.max() >= 3.65


def test_one_protection_trips_in_the_hold_and_one_before_it() -> None:
    started = []
    for k in range(3):
        each, recorded = ran("protection", k)
        assert each.pack is not None
        started.append(bool(events(recorded, each.pack, "hold_started")))
    assert set(started) == {True, False}


def test_controllers_do_what_the_rules_say_but_for_the_settings_that_nobody_knows_of() -> None:
    hidden = []
    for k in range(4):
        each, recorded = ran("wrong_settings", k)
        for p, (samples, told) in enumerate(zip(recorded.samples, each.told, strict=True)):
            seen = samples.trace
            by_rules = replay(
                told,
                start(each.world.packs[p].starting_soc),
                *(seen.t, seen.v, seen.i, seen.cell_max_v, seen.temp_c, seen.temp_max_c),
            )
            if not np.array_equal(by_rules.stage, samples.answers.stage):
                hidden.append((k, p))
                assert by_rules.full_reset.any()
    assert hidden == [(3, 0)]


def test_charger_shows_its_own_voltage_with_its_own_error() -> None:
    each, recorded = ran("meter_offset", 3)
    shown = log_of(each, recorded).packs[0].charger_v
    assert shown is not None
    assert float(np.median(shown - recorded.result.bank.charger_v)) == pytest.approx(
        0.04, abs=0.003
    )


@pytest.mark.parametrize(("cause", "k"), [("gap", 2), ("clock_jump", 2)])
def test_written_log_is_read_back_as_it_was(cause: str, k: int, tmp_path: Path) -> None:
    each = planted(cause, k)
    log = write(each, tmp_path)
    read = read_log(tmp_path, read_mapping(tmp_path / MAPPING))
    assert (read.complete, read.exact, read.from_power_up) == (True, True, True)
    for ours, theirs in zip(log.packs, read.packs, strict=True):
        assert ours.name == theirs.name
        assert ours.trace.columns == theirs.trace.columns
        for name in ours.trace.columns:
            assert np.array_equal(ours.trace.column(name), theirs.trace.column(name)), name
        for name in ("stage", "soc", "full_reset", "charger_v"):
            assert np.array_equal(getattr(ours, name), getattr(theirs, name)), name
        assert theirs.restarts == ()


def test_the_same_seed_makes_the_same_log() -> None:
    first, second = (log_of(planted("dwell_flicker", 2)) for _ in range(2))
    for one, other in zip(first.packs, second.packs, strict=True):
        assert one.charger_v is not None
        assert other.charger_v is not None
        assert np.array_equal(one.trace.v, other.trace.v)
        assert np.array_equal(one.charger_v, other.charger_v)
