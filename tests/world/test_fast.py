"""The compiled loop says what the loop in Python says, bit for bit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from attrs import evolve, fields
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st

from ctrl.bank import BankSettings
from ctrl.resets import FIRST_TOUCH
from harness.attach import attach
from harness.run import ANSWER_COLUMNS
from harness.world.bank import Ambient, Recording, World
from harness.world.charger import Charger, Link, RemoteSense
from harness.world.fast import simulate_compiled, simulate_many
from harness.world.loads import Appliance, LoadEvent, Loads
from harness.world.loop import simulate
from harness.world.meter import Meter
from harness.world.pack import OddCell, Pack, Spread
from harness.world.result import BankRows, PackRows, Result
from harness.world.sun import Clouds, Sun
from tests.world.small_worlds import CELL, ORDINARY, branch, settings, world

ROUGH = evolve(
    ORDINARY,
    interval_s=1.0,
    phase_s=0.3,
    jitter_s=0.2,
    clock_drift_ppm=200.0,
    clock_offset_s=5.0,
    missing_probability=0.02,
    unreadable_probability=0.02,
    outages=((400.0, 440.0),),
)
SHORT = settings(hold_s=120.0, entry_dwell_s=3.0, confirm_s=20.0, return_dwell_s=10.0)
QUIET = branch("hut", 0.95, settings=SHORT)
NEAR_FULL = tuple(
    branch(name, soc, settings=SHORT, meter=meter, contact_ohm=0.001)
    for name, soc, meter in (
        ("east", 0.985, ORDINARY),
        ("north", 0.975, ROUGH),
        ("west", 0.98, evolve(ORDINARY, voltage_offset_v=-0.02)),
    )
)
WEAK_CELL = branch(
    "weak",
    0.97,
    pack=Pack(
        CELL, soc=0.97, spread=Spread(capacity=0.01), odd_cells=(OddCell(3, soc_offset=0.03),)
    ),
    settings=settings(hold_s=120.0, cell_limit_v=3.58, cell_release_v=3.45),
    meter=ORDINARY,
)
WORLDS: dict[str, World] = {
    "one quiet pack": world(QUIET, hours=0.3),
    "three packs, rough meters": world(*NEAR_FULL, hours=0.3, charger=Charger(current_a=60.0)),
    "lead": world(*NEAR_FULL, hours=0.3, policy="lead", charger=Charger(current_a=60.0)),
    "any": world(*NEAR_FULL, hours=0.3, policy="any", charger=Charger(current_a=60.0)),
    "the longest wait of the bank": world(
        branch("first", 0.99, settings=SHORT),
        branch("last", 0.5, settings=SHORT, contact_ohm=0.05),
        hours=0.4,
        bank=BankSettings(bank_wait_s=300.0),
        charger=Charger(current_a=40.0),
    ),
    "a cell that trips, cell by cell": world(
        WEAK_CELL, branch("good", 0.97, meter=ORDINARY), hours=0.3, resolved=True
    ),
    "sun, clouds, loads, a cold morning": world(
        *NEAR_FULL,
        hours=0.5,
        start_at="11:30",
        sun=Sun(peak_w=1500.0, clouds=Clouds(clear_s=120.0, clouded_s=60.0), interval_s=7.0),
        loads=Loads(
            base_w=80.0,
            appliances=(Appliance(name="kettle", power_w=1800.0, minutes=3.0, per_day=60.0),),
            events=(LoadEvent(name="oven", power_w=2100.0, at="11:40", minutes=5.0),),
            cut_off_v=52.5,
            back_v=53.0,
        ),
        ambient=Ambient(mean_c=3.0, swing_c=6.0, coldest_at="11:40", interval_s=60.0),
        charger=Charger(current_a=40.0, meter_noise_v=0.005, set_step_v=0.01, interval_s=3.0),
    ),
    "remote sense, messages late and lost": world(
        *NEAR_FULL,
        hours=0.3,
        charger=Charger(
            current_a=60.0,
            remote_sense=RemoteSense(time_constant_s=15.0, reported="lowest"),
            link=Link(delay_s=4.0, loss_probability=0.3, outages=((300.0, 380.0),)),
        ),
        main_contact_ohm=0.01,
    ),
    "long steps": world(
        *(evolve(one, meter=evolve(one.meter, interval_s=10.0)) for one in NEAR_FULL),
        hours=3.0,
        interval_s=10.0,
        charger=Charger(current_a=60.0, interval_s=10.0),
        recording=Recording(interval_s=60.0),
    ),
}


def same(one: Result, two: Result) -> None:
    assert one.events == two.events
    assert one.summary == two.summary
    assert (one.stop is None) == (two.stop is None)
    for column in fields(BankRows):
        assert np.array_equal(getattr(one.bank, column.name), getattr(two.bank, column.name))
    for left, right in zip(one.packs, two.packs, strict=True):
        for column in fields(PackRows):
            if column.name not in ("name", "identity", "samples"):
                assert np.array_equal(getattr(left, column.name), getattr(right, column.name))
        assert left.samples is not None
        assert right.samples is not None
        for name in left.samples.trace.columns:
            assert np.array_equal(
                left.samples.trace.column(name), right.samples.trace.column(name), equal_nan=True
            )
        for name in ANSWER_COLUMNS:
            assert np.array_equal(
                getattr(left.samples.answers, name), getattr(right.samples.answers, name)
            )


def in_python(given: World, spec: str = "ref") -> Result:
    return simulate(given, [attach(spec) for _ in given.packs])


@pytest.mark.parametrize("name", WORLDS)
def test_both_loops_give_the_same_numbers(name: str) -> None:
    compiled = simulate(WORLDS[name])
    same(compiled, in_python(WORLDS[name]))
    # None of the worlds is one in which nothing happens.
    assert len(compiled.events) > 1


def test_the_worlds_show_what_they_are_named_for() -> None:
    happened = {
        name: {event.name for event in simulate(given).events} for name, given in WORLDS.items()
    }
    assert "inhibited" in happened["a cell that trips, cell by cell"]
    assert "full_reset" in happened["three packs, rough meters"]
    cold = simulate(WORLDS["sun, clouds, loads, a cold morning"])
    assert {event.name for event in cold.events} >= {"inhibited"}
    waited = simulate(WORLDS["the longest wait of the bank"])
    finished = waited.summary.packs[0].resets[0].t
    asked = [event.t for event in waited.events if event.name == "bank_asks"]
    assert asked == [finished + 300.0]


_SMALL: dict[str, Any] = {"deadline": None, "derandomize": True, "database": None}


@effort(max_examples=12, **_SMALL)
@given(
    socs=st.lists(st.floats(0.9, 1.0), min_size=1, max_size=4),
    policy=st.sampled_from(("lead", "every", "any")),
    interval_s=st.sampled_from((1.0, 1.7, 5.0)),
    jitter=st.floats(0.0, 0.45),
    seed=st.integers(0, 1000),
    loads_w=st.floats(0.0, 2000.0),
)
def test_both_loops_give_the_same_numbers_in_any_world(
    socs: list[float],
    policy: str,
    interval_s: float,
    jitter: float,
    seed: int,
    loads_w: float,
) -> None:
    meter = evolve(ORDINARY, interval_s=interval_s, jitter_s=jitter * interval_s)
    packs = [
        branch(f"pack {p}", soc, settings=SHORT, meter=meter, contact_ohm=0.001 * p)
        for p, soc in enumerate(socs)
    ]
    given_world = world(
        *packs,
        hours=0.1,
        policy=policy,
        seed=seed,
        loads=Loads(base_w=loads_w),
        charger=Charger(current_a=60.0),
    )
    same(simulate(given_world), in_python(given_world))


def test_another_reset_rule_runs_in_both() -> None:
    given_world = WORLDS["three packs, rough meters"]
    compiled = simulate_compiled(given_world, rule=FIRST_TOUCH)
    same(compiled, in_python(given_world, "ref:first_touch"))
    first = compiled.summary.packs[0].resets[0].t
    assert first < simulate(given_world).summary.packs[0].resets[0].t - 100.0


def test_many_worlds_give_what_each_gives_alone() -> None:
    worlds = [evolve(WORLDS["three packs, rough meters"], seed=seed) for seed in range(5)]
    done: list[int] = []
    many = simulate_many(worlds, threads=2, progress=done.append)
    assert sorted(done) == [0, 1, 2, 3, 4]
    for given_world, (summary, events, stop) in zip(worlds, many, strict=True):
        alone = simulate(given_world)
        assert (summary, events, stop) == (alone.summary, alone.events, None)
    # The seeds differ, so the noise does.
    assert len({events[0].voltage_v for _, events, _ in many}) > 1


def test_packs_that_are_set_differently_each_keep_their_own_settings() -> None:
    packs = (
        branch("short", 0.985, settings=settings(hold_s=60.0)),
        branch("long", 0.985, settings=settings(hold_s=300.0)),
    )
    given_world = world(*packs, hours=0.4, charger=Charger(current_a=40.0))
    result = simulate(given_world)
    lengths = [
        result.summary.packs[p].resets[0].t
        - next(e.t for e in result.events if e.pack == p and e.name == "hold_started")
        for p in (0, 1)
    ]
    assert lengths == [60.0, 300.0]
    same(result, in_python(given_world))


def test_a_meter_without_cells_and_temperatures_gives_neither() -> None:
    meter = Meter(reads_cells=False, reads_temperature=False)
    given_world = world(branch("hut", 0.95, meter=meter, settings=SHORT), hours=0.1)
    result = simulate(given_world)
    assert result.packs[0].samples is not None
    assert result.packs[0].samples.trace.columns == ("t", "v", "i")
    same(result, in_python(given_world))
