"""The closed loop: what acts on what, what is kept, and how it ends early."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
import pytest
from attrs import evolve

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.attach import Attachment, LinkFault, attach
from harness.errors import InputError
from harness.run import Answers, Identity, Trace
from harness.world.bank import Ambient, Recording
from harness.world.charger import Charger
from harness.world.loads import LoadEvent, Loads
from harness.world.loop import simulate
from harness.world.pack import Pack
from harness.world.result import Result
from harness.world.sun import Sun
from tests.world.small_worlds import CELL, ORDINARY, branch, settings, world

SHORT = settings(hold_s=120.0)
TWO = world(
    branch("east", 0.985, settings=SHORT, meter=ORDINARY),
    branch("west", 0.98, settings=SHORT, meter=ORDINARY),
    hours=0.25,
    charger=Charger(current_a=40.0),
)


class Scripted(Attachment):
    """A controller that says what it is told to, and fails at a sample if it is told that."""

    def __init__(self, stage: Stage, *, fails_at: int = -1, silent: bool = False) -> None:
        super().__init__("scripted", 1.0)
        self.stage, self.fails_at, self.silent = stage, fails_at, silent
        self.seen: list[Trace] = []

    def hello(self) -> Identity:
        return Identity("scripted", "1", "Python", frozenset({"soc"}))

    def start(self, settings: Settings, soc: float) -> None:
        self.started_with = settings, soc

    def run(self, trace: Trace) -> Answers:
        if len(self.seen) == self.fails_at:
            raise LinkFault(
                "LINK.answers", observed="nothing", expected="an answer", sentence="It fell silent."
            )
        self.seen.append(trace)
        stage = np.array([self.stage], np.int8)
        if self.silent:
            return Answers(stage)
        return Answers(stage, np.array([0.5]), np.array([False]), np.array([55.0]), np.array([7.0]))

    def power_cycle(self) -> None:
        raise AssertionError("nobody asked for that")

    def restart(self) -> None:
        self.seen = []


def test_the_same_seed_gives_the_same_run_and_another_another() -> None:
    one, two, other = (
        simulate(TWO),
        simulate(TWO),
        simulate(evolve(TWO, seed=1)),
    )
    for left, right in zip(one.packs, two.packs, strict=True):
        assert left.samples is not None
        assert right.samples is not None
        assert np.array_equal(left.samples.trace.v, right.samples.trace.v)
    assert one.events == two.events
    assert one.summary == two.summary
    assert one.packs[0].samples is not None
    assert other.packs[0].samples is not None
    assert not np.array_equal(one.packs[0].samples.trace.v, other.packs[0].samples.trace.v)


def test_each_controller_is_started_with_its_settings_and_its_count() -> None:
    east, west = Scripted(Stage.BULK), Scripted(Stage.BULK)
    given = evolve(TWO, packs=(TWO.packs[0], evolve(TWO.packs[1], counted_soc=0.2)), duration_s=3.0)
    simulate(given, [east, west])
    assert east.started_with == (SHORT, 0.985)
    assert west.started_with == (SHORT, 0.2)
    assert [len(trace) for trace in east.seen] == [1, 1, 1]
    assert [float(trace.t[0]) for trace in east.seen] == [1.0, 2.0, 3.0]


def test_the_charger_does_what_the_controllers_ask_for() -> None:
    result = simulate(TWO, [Scripted(Stage.BULK), Scripted(Stage.BULK)])
    # Before the first answer the rules ask; from the second step on 55.0 V and 2 · 7 A.
    assert result.bank.set_v[0] == 56.0
    assert np.all(result.bank.set_v[1:] == 55.0)
    assert np.all(result.bank.charger_a[1:] <= 14.0 + 1e-9)
    asked = [event for event in result.events if event.name == "bank_asks"]
    assert [(event.t, event.voltage_v, event.current_a) for event in asked] == [(1.0, 55.0, 14.0)]


def test_what_a_controller_does_not_ask_for_the_rules_do() -> None:
    result = simulate(TWO, [Scripted(Stage.FLOAT, silent=True), Scripted(Stage.FLOAT, silent=True)])
    assert np.all(result.bank.set_v[1:] == SHORT.float_v)
    assert result.summary.packs[0].counted_soc is None
    assert result.summary.packs[0].error is None
    assert result.packs[0].samples is not None
    assert result.packs[0].samples.answers.soc is None


@pytest.mark.parametrize("inhibited", ["open", "charge blocked"])
def test_a_pack_whose_controller_inhibits_is_switched_off(
    inhibited: Literal["open", "charge blocked"],
) -> None:
    packs = tuple(
        evolve(one, pack=evolve(one.pack, inhibited=inhibited), meter=ORDINARY) for one in TWO.packs
    )
    night = Loads(base_w=300.0)
    given = evolve(TWO, packs=packs, loads=night, charger=Charger(current_a=1.0))
    result = simulate(given, [Scripted(Stage.INHIBITED), Scripted(Stage.BULK)])
    off, on = result.packs[0].true_a[2:], result.packs[1].true_a[2:]
    assert np.all(on < -1.0)
    if inhibited == "open":
        assert np.all(off == 0.0)
    else:
        # It lets nothing in, and may give.
        assert np.all(off <= 1e-9)
        assert np.any(off < -0.1)
    assert set(result.packs[0].stage[1:]) == {Stage.INHIBITED}
    assert [event.name for event in result.events if event.pack == 0] == ["inhibited"]


def test_a_controller_that_fails_ends_the_run_and_what_ran_is_kept() -> None:
    failing = Scripted(Stage.BULK, fails_at=100)
    result = simulate(TWO, [Scripted(Stage.BULK), failing])
    stop = result.stop
    assert stop is not None
    assert (stop.step, stop.pack, stop.t) == (100, 1, 100.0)
    assert stop.reason == "It fell silent."
    assert isinstance(stop.fault, LinkFault)
    assert stop.inputs["t"] == 101.0
    assert len(result.bank.t) == 101
    samples = [pack.samples for pack in result.packs]
    assert [len(one) for one in samples if one is not None] == [101, 100]
    assert result.summary.ran_s == 101.0


def test_a_load_that_the_packs_cannot_carry_ends_the_run_and_what_ran_is_kept() -> None:
    lightning = LoadEvent(name="short circuit", power_w=2e6, at="06:05", minutes=1.0)
    given = evolve(TWO, loads=Loads(base_w=50.0, events=(lightning,)))
    result = simulate(given)
    stop = result.stop
    assert stop is not None
    assert (stop.step, stop.t, stop.pack, stop.fault) == (300, 300.0, -1, None)
    assert "more than the packs can carry" in stop.reason
    assert stop.inputs["load_a"] > 30_000.0
    assert stop.inputs["switches"] == [0, 0]
    assert len(result.bank.t) == 300
    in_python = simulate(given, [attach("ref"), attach("ref")])
    assert in_python.stop == stop
    assert np.array_equal(in_python.bank.bus_v, result.bank.bus_v)


def test_a_cell_that_is_emptied_ends_the_run() -> None:
    packs = (branch("hut", 0.02, settings=settings(empty_v=None)),)
    given = world(*packs, hours=2.0, loads=Loads(base_w=2000.0), charger=Charger(current_a=1.0))
    result = simulate(given)
    assert result.stop is not None
    assert result.stop.t > 60.0
    assert len(result.bank.t) == result.stop.step


def test_wrong_use_is_refused() -> None:
    with pytest.raises(InputError, match="1 controllers for 2 packs"):
        simulate(TWO, [attach("ref")])
    one = attach("ref")
    with pytest.raises(InputError, match="one controller for several packs"):
        simulate(TWO, [one, one])


@pytest.mark.parametrize("compiled", [True, False])
def test_progress_is_told(compiled: bool) -> None:
    told: list[float] = []
    given = evolve(TWO, duration_s=1500.0)
    simulate(
        given,
        None if compiled else [Scripted(Stage.BULK), Scripted(Stage.BULK)],
        progress=told.append,
    )
    assert told[0] == 0.0
    assert told[-1] == 1500.0
    assert len(told) >= 3
    assert told == sorted(told)


def test_only_what_is_wanted_is_kept() -> None:
    whole = simulate(TWO)
    thin = simulate(evolve(TWO, recording=Recording(interval_s=60.0, samples=False)))
    assert list(thin.bank.t) == [60.0 * k for k in range(1, 16)]
    assert thin.packs[0].samples is None
    assert np.array_equal(thin.packs[1].true_v, whole.packs[1].true_v[59::60])
    assert thin.events == whole.events
    assert thin.summary == whole.summary


def test_energy_and_charge_add_up() -> None:
    given = world(
        branch("hut", 0.5, contact_ohm=0.002),
        hours=2.0,
        loads=Loads(base_w=200.0),
        charger=Charger(current_a=25.0),
    )
    summary = simulate(given).summary
    (pack,) = summary.packs
    assert summary.load_wh == pytest.approx(400.0, rel=2e-3)
    # 20 A less some 4 A of load, for two hours, into 100 Ah.
    assert pack.in_ah == pytest.approx(100.0 * (pack.true_soc - 0.5), rel=1e-6)
    assert pack.out_ah == 0.0
    # What is lost is I² R of the cells: 16 · (1.2 + 0.6) mΩ at that current.
    current_a = pack.in_ah / 2.0
    assert pack.lost_wh == pytest.approx(16 * 0.0018 * current_a**2 * 2.0, rel=0.02)
    # What the charger gave went into the pack, the loads, the lead and the main cable.
    wires_wh = summary.charger_wh - summary.load_wh - pack.in_wh
    assert 0.0 < wires_wh < 0.02 * summary.charger_wh


def test_time_above_float_and_in_each_stage() -> None:
    result = simulate(TWO)
    for number, pack in enumerate(result.summary.packs):
        assert sum(pack.stage_h.values()) == pytest.approx(0.25)
        above = result.packs[number].true_v > 54.0
        assert pack.above_float_h == pytest.approx(above.sum() / 3600.0)
        assert pack.highest_v == result.packs[number].true_v.max()
        assert pack.stage_h["absorption"] == pytest.approx(120.0 / 3600.0, abs=2.0 / 3600.0)


def test_a_reset_is_told_with_the_truth() -> None:
    result: Result = simulate(TWO)
    (reset,) = result.summary.packs[1].resets
    event = next(e for e in result.events if e.name == "full_reset" and e.pack == 1)
    assert (event.t, event.true_soc, event.counted_after) == (reset.t, reset.true_soc, 1.0)
    row = int(reset.t) - 1
    assert result.packs[1].true_soc[row] == reset.true_soc
    assert result.packs[1].counted_soc[row] == 1.0
    assert reset.error == pytest.approx(1.0 - reset.true_soc)
    assert 0.99 < reset.true_soc < 1.0


def test_without_sun_nothing_is_charged_and_by_day_it_is() -> None:
    sun = Sun(peak_w=2000.0, latitude_deg=46.5, day_of_year=172)
    day = simulate(world(branch("hut", 0.5), hours=24.0, start_at="00:00", sun=sun))
    hour = day.bank.t / 3600.0
    assert np.all(day.bank.charger_a[hour < 3.0] == 0.0)
    assert np.all(day.bank.charger_a[(hour > 5.5) & (hour < 6.5)] > 3.0)
    given_w = day.bank.power_w
    assert np.all(given_w <= 0.95 * day.bank.sun_w + 1e-6)
    assert day.summary.sun_wh is not None
    assert day.summary.charger_wh < day.summary.sun_wh
    assert simulate(TWO).summary.sun_wh is None


def test_a_cold_morning_inhibits_until_it_is_warm() -> None:
    cold = Ambient(mean_c=4.0, swing_c=8.0, coldest_at="05:00")
    given = world(branch("hut", 0.5, warmer_c=1.0), hours=8.0, start_at="04:00", ambient=cold)
    result = simulate(given)
    names = [event.name for event in result.events if event.pack == 0]
    assert names[:2] == ["inhibited", "released"]
    released = result.events[[event.name for event in result.events].index("released")]
    # It lets go at 3 degrees: the air is then at 2, about half past nine.
    assert result.packs[0].samples is not None
    temp_c = result.packs[0].samples.trace.temp_c
    assert temp_c is not None
    assert temp_c[int(released.t) - 1] == pytest.approx(3.0, abs=0.2)
    assert np.all(result.packs[0].true_a[60 : int(released.t)] == 0.0)


def test_a_cold_pack_resists_more() -> None:
    cold_cell = evolve(CELL, factor_at_10_c=1.45, factor_at_40_c=0.78)

    def rise_v(temp_c: float) -> float:
        packs: Any = branch("hut", 0.5, pack=Pack(cold_cell, soc=0.5))
        result = simulate(world(packs, hours=0.05, ambient=Ambient(mean_c=temp_c)))
        return float(result.packs[0].true_v[0]) - 16 * 3.2907

    assert rise_v(10.0) / rise_v(25.0) == pytest.approx(1.45, abs=0.02)
    assert rise_v(40.0) / rise_v(25.0) == pytest.approx(0.78, abs=0.02)
