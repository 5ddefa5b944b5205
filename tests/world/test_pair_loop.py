"""A charger under test decides, the charger of the world carries it out: messages, meter, bounds."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from attrs import evolve

from ctrl.charger import Charger, ChargerOutput, ChargerSample, ChargerSettings, Conduct
from harness.attach.base import LinkFault
from harness.charger.attach import InProcessCharger
from harness.charger.judge import judge_charger
from harness.errors import InputError
from harness.run import Identity
from harness.world.bank import World
from harness.world.charger import Charger as Hardware
from harness.world.charger import Link, RemoteSense
from harness.world.fitting_charger import fitting_charger
from harness.world.loads import Loads
from harness.world.loop import simulate
from harness.world.meter import Meter
from harness.world.network import Bound
from harness.world.pack_messages import PackMessages
from harness.world.result import OF_CHARGER, Result
from tests.world.small_worlds import ORDINARY, branch, settings, world


class Stubborn:
    """A charger that always says the same."""

    def __init__(self, settings: ChargerSettings, output: ChargerOutput) -> None:
        self.settings, self.output = settings, output
        self.heard: list[ChargerSample] = []

    def step(self, sample: ChargerSample) -> ChargerOutput:
        self.heard.append(sample)
        return self.output

    def power_cycle(self) -> None:
        raise AssertionError("nobody cuts its power")


class Dying(Charger):
    """A charger that answers three times."""

    left = 3

    def step(self, sample: ChargerSample) -> ChargerOutput:
        self.left -= 1
        if self.left < 0:
            raise LinkFault(
                "LINK.stays-alive", observed="it died", expected="an answer", sentence="It died.",
                index=0,
            )  # fmt: skip
        return super().step(sample)


class BuiltIn(InProcessCharger):
    """A charger that was built with settings of its own."""

    def hello(self) -> Identity:
        return evolve(super().hello(), fixed=ChargerSettings(highest_v=55.0))


def one_pack(hours: float = 0.1, soc: float = 0.6, **changes: Any) -> World:
    return world(branch("hut", soc), hours=hours, **changes)


def run(bank: World, made: Any = Charger, **given: Any) -> Result:
    return simulate(bank, None, charger=InProcessCharger("test", made), **given)


def stubborn(set_v: float, limit_a: float, state: Conduct = Conduct.FOLLOWING) -> Any:
    return lambda its: Stubborn(its, ChargerOutput(set_v, limit_a, state))


def test_a_run_holds_every_sample_and_answer_of_the_charger() -> None:
    result = run(one_pack())
    assert result.charger is not None
    trace, answers = result.charger.case.trace, result.charger.answers
    assert len(trace) == len(answers) == 360
    assert trace.t[:3].tolist() == [0.0, 1.0, 2.0]
    assert result.charger.identity.name == "reference"
    # Before any meter has read there is a request and no reading.
    assert trace.request_v[0, 0] == 56.0
    assert trace.request_a[0, 0] == 20.0
    assert np.isnan(trace.pack_v[0, 0])
    assert np.isnan(trace.pack_a[0, 0])
    # From then on the message holds what the controller read at that moment.
    samples = result.packs[0].samples
    assert samples is not None
    assert trace.pack_v[1:10, 0].tolist() == samples.trace.v[:9].tolist()
    assert trace.pack_a[1:10, 0].tolist() == samples.trace.i[:9].tolist()
    assert trace.stage[5, 0] == 0
    # What it answered last is in force: the set-point of each row is that of the sample before it.
    assert result.bank.set_v[:50].tolist() == answers.set_point_v[:50].tolist()


def test_without_a_charger_under_test_there_is_none_in_the_result() -> None:
    assert simulate(one_pack(hours=0.01), None).charger is None


def test_it_gives_no_current_while_it_is_stopped_or_the_limit_is_zero() -> None:
    for made in (stubborn(57.0, 50.0, Conduct.STOPPED), stubborn(57.0, 0.0)):
        result = run(one_pack(), made)
        assert not result.bank.charger_a.any()
    assert run(one_pack(), stubborn(57.0, 5.0)).bank.charger_a.max() == pytest.approx(5.0)


def test_the_hardware_bounds_what_is_asked_of_it() -> None:
    bank = one_pack(charger=Hardware(current_a=30.0, highest_v=54.0))
    result = run(bank, stubborn(500.0, 1e6))
    assert result.bank.set_v.max() == 54.0
    assert result.bank.charger_a.max() <= 30.0 + 1e-9
    weak = one_pack(charger=Hardware(current_a=30.0, power_w=800.0))
    result = run(weak, stubborn(57.0, 30.0))
    assert float((result.bank.charger_a * result.bank.charger_v).max()) == pytest.approx(800.0)


def test_its_meter_is_one_meter_with_its_offset_gain_and_steps() -> None:
    # It shows 20 mV and a part in a thousand too much, and takes set-points in steps of 50 mV.
    hardware = Hardware(current_a=60.0, meter_offset_v=0.020, meter_gain=1.001, set_step_v=0.05)
    # So full that it holds its voltage: 55.18 becomes 55.2 V as shown, (55.2 - 0.02) / 1.001 truly.
    made = stubborn(55.18, 60.0)
    result = run(world(branch("hut", 0.995), hours=0.2, charger=hardware), made)
    assert result.charger is not None
    assert result.bank.set_v[-1] == 55.2
    assert result.bank.bound[-1] == Bound.VOLTAGE
    assert result.bank.charger_v[-1] == pytest.approx(55.124875, abs=1e-6)
    trace = result.charger.case.trace
    assert trace.own_v[-1] == pytest.approx(55.2, abs=1e-9)
    assert trace.own_a[-1] == pytest.approx(result.bank.charger_a[-2], abs=1e-12)


def test_noise_of_its_meter_moves_the_terminals_and_not_what_it_shows_of_them() -> None:
    hardware = Hardware(current_a=60.0, meter_noise_v=0.010)
    # With a load that the charger carries, so that it never has to let the bus go.
    bank = world(branch("hut", 0.995), hours=0.15, charger=hardware, loads=Loads(base_w=600.0))
    result = run(bank, stubborn(55.2, 60.0))
    assert result.charger is not None
    held = result.bank.bound == Bound.VOLTAGE
    assert held[-200:].all()
    assert np.std(result.bank.charger_v[-200:]) == pytest.approx(0.010, rel=0.2)
    assert np.abs(result.charger.case.trace.own_v[-200:] - 55.2).max() < 1e-9


def test_it_is_asked_at_its_own_interval() -> None:
    result = run(one_pack(hours=0.01, charger=Hardware(interval_s=4.0)))
    assert result.charger is not None
    assert np.diff(result.charger.case.trace.t).tolist() == [4.0] * 8


def test_messages_take_their_time_and_their_age_counts_from_when_they_came() -> None:
    bank = one_pack(charger=Hardware(link=Link(delay_s=3.0)))
    messages = PackMessages(bank)
    said = np.arange(5.0).reshape(1, 5)
    seen = []
    for number in range(6):
        lying, age_s = messages.exchange(number, float(number), said + 10.0 * number)
        seen.append((float(lying[0, 0]), float(age_s[0])))
    assert np.isnan(seen[:3]).all()
    # The message of 0 s comes at 3 s, and is new then.
    assert seen[3:] == [(0.0, 0.0), (10.0, 0.0), (20.0, 0.0)]


def test_a_message_that_does_not_come_leaves_the_old_one_which_ages() -> None:
    bank = one_pack(charger=Hardware(link=Link(outages=((2.0, 4.0),))))
    messages = PackMessages(bank)
    said = np.zeros((1, 5))
    ages = [float(messages.exchange(n, float(n), said + n)[1][0]) for n in range(6)]
    assert ages == [0.0, 0.0, 1.0, 2.0, 0.0, 0.0]


def test_messages_of_each_pack_are_lost_on_their_own() -> None:
    link = Link(loss_probability=0.3)
    bank = world(branch("a", 0.6), branch("b", 0.6), hours=1.0, charger=Hardware(link=link))
    messages = PackMessages(bank)
    came = np.array(
        [messages.exchange(n, float(n), np.full((2, 5), n))[1] == 0.0 for n in range(2000)]
    )
    # Three standard deviations of 2000 draws: 0.03.
    assert came.mean(axis=0) == pytest.approx([0.7, 0.7], abs=0.031)
    assert (came[:, 0] & came[:, 1]).mean() == pytest.approx(0.49, abs=0.034)
    again = PackMessages(bank)
    assert [
        (again.exchange(n, float(n), np.zeros((2, 5)))[1] == 0.0).tolist() for n in range(50)
    ] == (came[:50].tolist())


def test_a_silent_link_makes_the_reference_fall_back_and_stop() -> None:
    # Messages come for two minutes, are out for two, and come again.
    bank = one_pack(charger=Hardware(current_a=40.0, link=Link(outages=((120.0, 240.0),))))
    result = run(bank)
    assert result.charger is not None
    state = result.charger.answers.state
    assert state[119] == Conduct.FOLLOWING
    assert state[130] == Conduct.FALLBACK
    assert state[185] == Conduct.STOPPED
    assert state[260] == Conduct.FOLLOWING
    assert not result.bank.charger_a[185:239].any()
    assert judge_charger(result.charger).findings == ()


@pytest.mark.parametrize(
    "link", [Link(), Link(delay_s=2.0), Link(loss_probability=0.2, delay_s=1.0)], ids=repr
)
def test_nothing_that_conforms_raises_a_finding_in_closed_loop(link: Link) -> None:
    bank = world(
        branch("a", 0.985, meter=ORDINARY),
        branch("b", 0.97, meter=ORDINARY, settings=settings(hold_s=120.0)),
        hours=0.35,
        charger=Hardware(current_a=60.0, meter_noise_v=0.002, set_step_v=0.01, link=link),
        main_contact_ohm=0.01,
        seed=11,
    )
    result = run(bank)
    assert result.charger is not None
    assert [finding.sentence for finding in judge_charger(result.charger).findings] == []
    assert (result.charger.answers.state == Conduct.FOLLOWING).mean() > 0.8


def test_a_charger_that_dies_ends_the_run_and_leaves_what_ran() -> None:
    result = run(one_pack(), Dying)
    assert result.stop is not None
    assert (result.stop.pack, result.stop.step, result.stop.t) == (OF_CHARGER, 3, 3.0)
    assert result.stop.fault is not None
    assert result.stop.fault.index == 3
    assert result.charger is not None
    assert len(result.charger.answers) == len(result.charger.case.trace) == 3
    assert len(result.bank.t) == 3


def test_settings_for_another_bank_are_refused() -> None:
    with pytest.raises(InputError, match="hears 2 packs in a bank of 1"):
        run(one_pack(), charger_settings=ChargerSettings(packs=2))


def test_a_charger_that_was_built_with_its_settings_keeps_them() -> None:
    result = simulate(one_pack(hours=0.02), None, charger=BuiltIn("built in"))
    assert result.charger is not None
    assert result.charger.case.settings == ChargerSettings(highest_v=55.0)
    assert result.charger.answers.set_point_v.max() == 55.0
    two = world(branch("a", 0.5), branch("b", 0.5), hours=0.02)
    with pytest.raises(InputError, match="hears 1 pack in a bank of 2"):
        simulate(two, None, charger=BuiltIn("built in"))


def test_settings_fit_what_the_scenario_says_of_the_charger() -> None:
    bank = world(
        branch("a", 0.5, meter=Meter(interval_s=30.0), settings=settings(float_v=53.5)),
        branch("b", 0.5),
        hours=1.0,
        charger=Hardware(
            current_a=15.0, highest_v=57.0, interval_s=10.0,
            remote_sense=RemoteSense(time_constant_s=20.0, bound_v=0.3),
        ),
    )  # fmt: skip
    fitted = fitting_charger(bank, raise_a_per_s=1.0)
    assert (fitted.packs, fitted.highest_v, fitted.highest_a) == (2, 57.0, 15.0)
    assert (fitted.fallback_v, fitted.fallback_a) == (53.5, 15.0)
    assert (fitted.stale_s, fitted.max_gap_s, fitted.silent_s) == (30.0, 30.0, 120.0)
    # A time constant shorter than a gap that still counts would contradict it.
    assert (fitted.sense_time_s, fitted.compensation_v) == (30.0, 0.3)
    assert (fitted.frozen_s, fitted.raise_a_per_s) == (120.0, 1.0)
    with pytest.raises(InputError, match=r"charger settings: .*sense_tim"):
        fitting_charger(bank, sense_tim=1.0)
