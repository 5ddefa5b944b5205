"""When and how far the compensation of the line moves: point 7 of the rules of a charger, by hand.

The charger follows one pack at 56 V and 100 A. It holds 56 V at its own terminals; the pack reads
55.7 V. With 0.3 V missing, the integral of 60 s moves by 0.3 / 60 = 0.005 V a second.
"""

from __future__ import annotations

from math import inf, nan

import pytest
from attrs import evolve

from ctrl.charger import ChargerSample, Conduct
from tests.unit.charger_told import FOLLOWS, ONE, after, asks, at, follows


def comp(
    reads_v: float = 55.7,
    *,
    own_v: float = 56.0,
    own_a: float = 50.0,
    t: float = 101.0,
    before_v: float = 0.0,
    limit_a: float = 100.0,
    asked_v: float = 56.0,
) -> float:
    """The compensation after a sample that by default moves it upward, V."""
    state = follows(compensation_v=before_v, limit_a=limit_a)
    message = asks(asked_v, limit_a, reads_v=reads_v)
    return after(ChargerSample(t, own_v, own_a, (message,)), state)[0].compensation_v


def test_it_integrates_what_the_pack_lacks() -> None:
    assert comp() == pytest.approx(0.005, abs=1e-12)
    assert comp(t=104.0) == pytest.approx(0.020, abs=1e-12)
    assert comp(before_v=0.1, own_v=56.1) == pytest.approx(0.105, abs=1e-12)
    assert comp(56.0) == 0.0
    assert comp(56.3) == pytest.approx(-0.005, abs=1e-12)


def test_its_rate_is_bounded_either_way() -> None:
    # 0.9 V would move it by 0.015 V a second.
    assert comp(55.1) == pytest.approx(0.01, abs=1e-12)
    assert comp(56.9) == pytest.approx(-0.01, abs=1e-12)
    assert comp(55.1, t=105.0) == pytest.approx(0.05, abs=1e-12)


def test_its_size_is_bounded_either_way() -> None:
    assert comp(before_v=0.497, own_v=56.497) == 0.5
    assert comp(56.3, before_v=-0.497, own_v=55.503) == -0.5


def test_nothing_is_integrated_over_no_time_or_over_a_break() -> None:
    assert comp(t=100.0) == 0.0
    for t in (110.5, 99.0):
        assert comp(56.3, t=t) == 0.0


def test_base_is_the_one_under_which_the_reading_was_taken() -> None:
    # The request falls at this very sample; what was read still belongs to 56 V.
    assert comp(asked_v=54.0) == pytest.approx(0.005, abs=1e-12)


@pytest.mark.parametrize("own", [nan, inf, 29.9, 70.1])
def test_own_voltage_must_be_believable(own: float) -> None:
    assert comp(own_v=own) == 0.0
    assert comp(56.3, own_v=own) == 0.0


@pytest.mark.parametrize("own", [nan, inf, -inf, -1000.1, 1000.1])
def test_own_current_must_be_believable(own: float) -> None:
    assert comp(own_a=own) == 0.0
    assert comp(56.3, own_a=own) == 0.0


@pytest.mark.parametrize(
    ("own_a", "limit_a", "moves"),
    [
        (97.9, 100.0, True),
        (98.0, 100.0, False),
        (100.0, 100.0, False),
        (1.89, 2.0, True),
        (1.9, 2.0, False),
        (0.0, 0.1, False),
        (-5.0, 100.0, True),
        (-5.0, 0.0, False),
    ],
)
def test_it_does_not_rise_where_the_current_limit_bounds_the_charge(
    own_a: float, limit_a: float, moves: bool
) -> None:
    assert (comp(own_a=own_a, limit_a=limit_a) > 0.0) is moves


def test_it_stands_still_while_no_current_may_flow() -> None:
    assert comp(56.3, limit_a=0.0, own_a=0.0) == 0.0


@pytest.mark.parametrize(("own_v", "moves"), [(55.91, True), (55.89, False), (53.0, False)])
def test_it_does_not_rise_where_the_set_point_is_not_reached(own_v: float, moves: bool) -> None:
    # A dull morning: the charger gives 3 A at 53 V, and no set-point would make it more.
    assert (comp(own_v=own_v, own_a=3.0) > 0.0) is moves


@pytest.mark.parametrize(("own_v", "moves"), [(56.09, True), (56.11, False)])
@pytest.mark.parametrize("reads_v", [55.7, 56.3])
def test_it_stands_still_while_something_else_holds_the_bus_up(
    own_v: float, moves: bool, reads_v: float
) -> None:
    assert (comp(reads_v, own_v=own_v) != 0.0) is moves


def test_relaxing_pack_does_not_wind_it_down() -> None:
    # The request went from 56 V to 54 V; the pack takes its time, and no current flows.
    state = follows(base_v=54.0)
    for k in range(1, 120):
        pack_v = 56.0 - 0.01 * k
        sample = ChargerSample(100.0 + k, pack_v, 0.0, (asks(54.0, 100.0, reads_v=pack_v),))
        state, output = after(sample, state)
    assert (output.set_point_v, state.compensation_v) == (54.0, 0.0)


def test_pack_above_its_request_brings_it_down_even_at_the_current_limit() -> None:
    assert comp(56.3, before_v=0.4, own_v=56.1, own_a=100.0) == pytest.approx(0.395, abs=1e-12)


def test_highest_reading_counts_so_that_no_pack_gets_more_than_it_asked_for() -> None:
    two = ONE.changed(packs=2)
    state = follows(packs=FOLLOWS.packs * 2)
    messages = (asks(reads_v=55.4), asks(reads_v=56.06))
    moved, _ = after(ChargerSample(101.0, 56.0, 50.0, messages), state, two)
    assert moved.compensation_v == pytest.approx(-0.001, abs=1e-12)


def test_every_pack_must_have_a_good_reading() -> None:
    two = ONE.changed(packs=2)
    state = follows(packs=FOLLOWS.packs * 2)
    messages = (asks(), asks(reads_v=nan))
    moved, _ = after(ChargerSample(101.0, 56.0, 50.0, messages), state, two)
    assert moved.compensation_v == 0.0


def test_it_moves_only_in_following_and_not_at_the_sample_that_begins_it() -> None:
    fallback = evolve(FOLLOWS, conduct=Conduct.FALLBACK, compensation_v=-0.2)
    moved, output = after(at(101.0, asks(), own_v=55.8, own_a=50.0), fallback)
    assert output.state is Conduct.FOLLOWING
    assert moved.compensation_v == -0.2
    moved, _ = after(at(102.0, asks(reads_v=55.6), own_v=55.8, own_a=50.0), moved)
    assert moved.compensation_v == pytest.approx(-0.2 + 0.4 / 60.0, abs=1e-12)
