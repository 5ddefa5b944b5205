"""A charger: what it sets from what it hears, and what it gives."""

from __future__ import annotations

from math import inf, nan
from typing import Any

import numba
import numpy as np
import pytest

from harness.errors import InputError
from harness.world.charger import (
    COMPENSATION_V,
    LIMIT_A,
    REGULATED_V,
    SET_V,
    Charger,
    ChargerState,
    Link,
    RemoteSense,
    charger_numbers,
    correct,
    power_limit,
    reported_v,
    start_charger,
)
from harness.world.loop import simulate
from harness.world.network import CURRENT, OFF, VOLTAGE, Bound
from tests.world.small_worlds import branch, settings, world


@numba.njit
def _correct(numbers: Any, state: Any, t: float, asked: Any, shown_v: Any, network: float) -> None:
    correct(numbers, state, t, asked, 0, shown_v, network)


class Played:
    """A charger to which a test speaks second by second."""

    def __init__(self, charger: Charger, *, asked: tuple[float, float] = (56.0, 50.0)) -> None:
        self.numbers = charger_numbers(charger, 0)
        self.state: ChargerState = start_charger(charger, *asked)
        self.asked = np.array(asked)
        self.t = 0.0

    def hears(
        self, seconds: int = 1, shown_v: tuple[float, ...] = (nan,), network: int = VOLTAGE
    ) -> None:
        for _ in range(seconds):
            _correct(
                self.numbers, self.state, self.t, self.asked, np.array(shown_v), float(network)
            )
            self.t += 1.0

    def __getitem__(self, entry: int) -> float:
        return float(self.state.entries[entry])


def test_it_obeys_within_its_limits() -> None:
    played = Played(Charger(current_a=40.0, highest_v=55.0))
    played.hears()
    assert (played[SET_V], played[REGULATED_V], played[LIMIT_A]) == (55.0, 55.0, 40.0)
    played.asked[:] = 54.0, 10.0
    played.hears()
    assert (played[SET_V], played[LIMIT_A]) == (54.0, 10.0)


def test_a_meter_that_shows_20_mv_too_much_stops_20_mv_too_low() -> None:
    played = Played(Charger(meter_offset_v=0.02))
    played.hears()
    assert played[SET_V] == 56.0
    assert played[REGULATED_V] == pytest.approx(55.98, abs=1e-12)
    steep = Played(Charger(meter_gain=1.001))
    steep.hears()
    assert steep[REGULATED_V] == pytest.approx(56.0 / 1.001, abs=1e-12)
    drifting = Played(Charger(meter_drift_v_per_day=0.01))
    drifting.t = 10 * 86_400.0
    drifting.hears()
    assert drifting[REGULATED_V] == pytest.approx(55.9, abs=1e-12)


def test_steps_of_the_set_point_and_noise() -> None:
    played = Played(Charger(set_step_v=0.1), asked=(54.56, 10.0))
    played.hears()
    assert played[SET_V] == 54.6
    noisy = Played(Charger(meter_noise_v=0.01))
    set_to = []
    for _ in range(500):
        noisy.hears()
        set_to.append(noisy[REGULATED_V])
    assert np.std(set_to) == pytest.approx(0.01, rel=0.15)
    assert np.mean(set_to) == pytest.approx(56.0, abs=0.002)


def test_it_listens_every_so_many_seconds() -> None:
    played = Played(Charger(interval_s=5.0))
    played.hears()
    played.asked[0] = 54.0
    played.hears(4)
    assert played[SET_V] == 56.0
    played.hears()
    assert played[SET_V] == 54.0


def test_a_message_takes_its_time() -> None:
    played = Played(Charger(link=Link(delay_s=3.0)))
    played.hears(5)
    played.asked[0] = 54.0
    played.hears(3)
    assert played[SET_V] == 56.0
    played.hears()
    assert played[SET_V] == 54.0


def test_messages_are_lost_in_their_share() -> None:
    played = Played(Charger(link=Link(loss_probability=0.3)))
    heard = 0
    for k in range(2000):
        played.asked[0] = 50.0 + k / 1000.0
        played.hears()
        heard += played[SET_V] == played.asked[0]
    assert heard == pytest.approx(1400, abs=85)


def test_remote_sense_integrates_slowly_and_within_its_bound() -> None:
    sense = RemoteSense(time_constant_s=50.0, bound_v=0.3)
    played = Played(Charger(remote_sense=sense))
    played.hears(shown_v=(55.9,))
    assert played[COMPENSATION_V] == pytest.approx(0.1 / 50.0)
    played.hears(49, shown_v=(55.9,))
    assert played[COMPENSATION_V] == pytest.approx(0.1)
    assert played[REGULATED_V] == pytest.approx(56.1)
    played.hears(1000, shown_v=(55.9,))
    assert played[COMPENSATION_V] == 0.3
    # Where the packs read more than was asked for it comes down again, and below.
    played.hears(10_000, shown_v=(56.2,))
    assert played[COMPENSATION_V] == -0.3


def test_remote_sense_rests_while_something_else_bounds_the_current() -> None:
    played = Played(Charger(remote_sense=RemoteSense()))
    for bound in (CURRENT, OFF, int(Bound.POWER)):
        played.hears(100, shown_v=(54.0,), network=bound)
        assert played[COMPENSATION_V] == 0.0
    played.hears(100, shown_v=(nan,))
    assert played[COMPENSATION_V] == 0.0


def test_the_compensation_is_frozen_when_messages_are_old() -> None:
    link = Link(outages=((100.0, 200.0),), stale_s=5.0)
    played = Played(Charger(remote_sense=RemoteSense(time_constant_s=100.0), link=link))
    played.hears(100, shown_v=(55.9,))
    # It goes on with what it heard last until that is more than five seconds old.
    played.hears(5, shown_v=(0.0,))
    frozen = played[COMPENSATION_V]
    assert frozen == pytest.approx(104 * 0.1 / 100.0, abs=0.0011)
    played.hears(94, shown_v=(0.0,))
    assert played[COMPENSATION_V] == frozen
    played.hears(10, shown_v=(55.9,))
    assert played[COMPENSATION_V] > frozen


def test_what_the_packs_report() -> None:
    shown = np.array([55.0, 54.0, 56.0])
    assert [reported_v(float(which), 1, shown) for which in range(4)] == [55.0, 54.0, 56.0, 54.0]
    shown[2] = nan
    assert np.isnan(reported_v(0.0, 1, shown))
    assert reported_v(3.0, 1, shown) == 54.0


def test_the_power_limit_is_the_lower_of_its_own_and_the_suns() -> None:
    numbers = charger_numbers(Charger(power_w=1000.0, efficiency=0.9), 0)
    assert power_limit(numbers, inf) == 1000.0
    assert power_limit(numbers, 500.0) == 450.0


def test_constant_current_then_power_then_constant_voltage() -> None:
    charger = Charger(current_a=20.0, power_w=1070.0)
    result = simulate(
        world(
            branch("hut", 0.3, settings=settings(charge_current_a=50.0)), hours=5.0, charger=charger
        )
    )
    rows = result.bank
    by_current, by_power = rows.bounded_by(Bound.CURRENT), rows.bounded_by(Bound.POWER)
    by_voltage = rows.bounded_by(Bound.VOLTAGE)
    assert by_current.sum() > 600
    assert by_power.sum() > 600
    assert by_voltage.sum() > 100
    assert rows.charger_a[by_current] == pytest.approx(20.0, abs=1e-9)
    assert rows.power_w[by_power] == pytest.approx(1070.0, abs=1e-6)
    assert rows.charger_v[by_voltage] == pytest.approx(rows.set_v[by_voltage], abs=1e-6)
    order = [np.flatnonzero(held)[0] for held in (by_current, by_power, by_voltage)]
    assert order == sorted(order)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"current_a": 0.0}, "current_a is 0"),
        ({"power_w": -5.0}, "above 0 W"),
        ({"efficiency": 1.2}, "efficiency is 1.2"),
        ({"interval_s": 0.1, "link": Link(delay_s=1000.0)}, "at most 409.6 s"),
    ],
)
def test_a_charger_that_cannot_be_is_refused(given: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message):
        Charger(**given)


def test_remote_sense_of_something_else_is_refused() -> None:
    with pytest.raises(InputError, match="one of mean, lowest, highest, lead"):
        RemoteSense(reported="median")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="stale_s is 0"):
        Link(stale_s=0.0)
