"""What a charger gives: target, slope and outputs, points 5, 6 and 8 of its rules, by hand."""

from __future__ import annotations

import pytest

from ctrl.charger import Charger, Conduct, Heard, Message, start_charger
from tests.unit.charger_told import FOLLOWS, ONE, QUIET, after, asks, at, done, follows

THREE = ONE.changed(packs=3, highest_a=250.0)
THREE_FOLLOWED = follows(limit_a=250.0, packs=FOLLOWS.packs * 3)


def given(*messages: Message, t: float = 101.0) -> tuple[float, float]:
    _, output = after(at(t, *messages), THREE_FOLLOWED, THREE)
    return output.set_point_v, output.limit_a


# 5. Target


def test_lowest_voltage_counts_and_currents_add_up() -> None:
    assert given(asks(55.6, 60.0), asks(55.2, 70.0), asks(55.9, 80.0)) == (55.2, 210.0)


def test_pack_that_asks_for_nothing_stops_them_all() -> None:
    assert given(asks(55.6, 60.0), asks(54.0, 0.0), asks(55.9, 80.0)) == (54.0, 0.0)


def test_request_of_the_last_good_message_stays_in_force() -> None:
    assert given(asks(55.6, 60.0), QUIET, asks(55.9, 80.0)) == (55.6, 240.0)


def test_charger_has_bounds_of_its_own() -> None:
    low = follows(base_v=57.95, limit_a=248.0, packs=FOLLOWS.packs * 3)
    _, output = after(at(101.0, *[asks(60.0, 100.0)] * 3), low, THREE)
    assert (output.set_point_v, output.limit_a) == (58.0, 250.0)


def test_fallback_is_float_voltage_and_little_current() -> None:
    _, output = after(at(106.0, QUIET))
    assert (output.set_point_v, output.limit_a, output.state.word) == (54.0, 20.0, "fallback")


def test_nothing_is_higher_in_fallback_than_it_was() -> None:
    # On its way up from 53 V and 3 A, far from the 56 V and 100 A that were asked for.
    rising = follows(base_v=53.0, limit_a=3.0)
    state, output = after(at(106.0, QUIET), rising)
    assert (output.set_point_v, output.limit_a) == (53.0, 3.0)
    assert after(at(107.0, QUIET), state)[1] == output


def test_pack_that_is_still_heard_is_obeyed_downward_in_fallback() -> None:
    two = ONE.changed(packs=2)
    state = follows(packs=FOLLOWS.packs * 2)
    state, output = after(at(106.0, asks(53.5, 8.0), QUIET), state, two)
    # 8 A and the 100 A that the silent pack asked for last.
    assert (output.state.word, output.set_point_v, output.limit_a) == ("fallback", 53.5, 20.0)
    state, output = after(at(107.0, asks(53.0, 0.0), QUIET), state, two)
    assert (output.state.word, output.set_point_v, output.limit_a) == ("fallback", 53.0, 0.0)
    state, output = after(at(108.0, asks(56.0, 100.0), QUIET), state, two)
    assert (output.state.word, output.set_point_v, output.limit_a) == ("fallback", 53.0, 0.0)


def test_stopped_gives_no_current_at_no_more_than_float_voltage() -> None:
    _, output = after(at(161.0, QUIET))
    assert (output.set_point_v, output.limit_a, output.state.word) == (54.0, 0.0, "stopped")
    _, output = after(at(161.0, QUIET), follows(base_v=52.5))
    assert (output.set_point_v, output.limit_a) == (52.5, 0.0)


# 6. Slope


def test_lowered_request_is_followed_at_once() -> None:
    _, output = after(at(100.001, asks(52.0, 1.5)))
    assert (output.set_point_v, output.limit_a) == (52.0, 1.5)


def test_current_of_zero_is_obeyed_at_once() -> None:
    assert after(at(100.001, asks(56.0, 0.0)))[1].limit_a == 0.0


def test_raised_request_is_followed_by_slopes() -> None:
    low = follows(base_v=54.0, limit_a=10.0)
    state, output = after(at(102.0, asks()), low)
    assert output.set_point_v == pytest.approx(54.2, abs=1e-12)
    assert output.limit_a == pytest.approx(20.0, abs=1e-12)
    _, output = after(at(102.0, asks()), state)
    assert output.set_point_v == pytest.approx(54.2, abs=1e-12)


def test_charge_begins_by_slopes() -> None:
    said = done(ONE, *(at(2.0 * k, asks()) for k in range(8)))
    assert [row[0] for row in said] == ["stopped"] * 5 + ["following"] * 3
    assert [row[1] for row in said[4:]] == pytest.approx([54.0, 54.2, 54.4, 54.6], abs=1e-9)
    assert [row[2] for row in said[4:]] == pytest.approx([0.0, 10.0, 20.0, 30.0], abs=1e-9)


def test_nothing_rises_over_a_break() -> None:
    low = follows(base_v=53.0, limit_a=10.0)
    for t in (111.0, 99.0):
        _, output = after(at(t, asks()), low)
        assert (output.set_point_v, output.limit_a) == (53.0, 10.0)
    # Nor where the charge begins at the very sample after a gap.
    said = done(ONE.changed(steady_s=0), at(0.0, QUIET), at(1000.0, asks()), at(1001.0, asks()))
    assert said[1] == ("following", 54.0, 0.0)
    assert said[2][2] == 5.0


# 8. Outputs


def test_set_point_is_base_and_compensation_and_never_above_the_highest() -> None:
    assert after(at(101.0, asks()), follows(compensation_v=0.3))[1].set_point_v == 56.3
    assert after(at(101.0, asks()), follows(compensation_v=-0.3))[1].set_point_v == 55.7
    top = follows(base_v=57.8, compensation_v=0.3, packs=(Heard(57.8, 100.0, 100.0),))
    state, output = after(at(101.0, asks(57.8)), top)
    assert output.set_point_v == 58.0
    # What the bound took away is not stored up: it is gone when the request is lowered.
    assert after(at(102.0, asks(57.0)), state)[1].set_point_v == pytest.approx(57.2, abs=1e-12)


@pytest.mark.parametrize("t", [106.0, 161.0, 99.0])
def test_outside_following_a_positive_compensation_is_lost_and_a_negative_one_kept(
    t: float,
) -> None:
    state, output = after(at(t, QUIET), follows(compensation_v=0.3))
    assert (state.compensation_v, output.set_point_v) == (0.0, 54.0)
    state, output = after(at(t, QUIET), follows(compensation_v=-0.3))
    assert (state.compensation_v, output.set_point_v) == (-0.3, 53.7)


def test_return_to_following_makes_no_jump() -> None:
    state, _ = after(at(106.0, QUIET), follows(compensation_v=0.5))
    volts = []
    for t in (107.0, 112.0, 117.0):
        state, output = after(at(t, asks()), state)
        volts.append(output.set_point_v)
    assert state.conduct is Conduct.FOLLOWING
    # 5 s at 0.1 V/s from the float voltage.
    assert volts == pytest.approx([54.0, 54.0, 54.5], abs=1e-12)


def test_object_remembers_what_the_function_returns_and_forgets_it_without_power() -> None:
    charger = Charger(ONE)
    state = start_charger(ONE)
    for t in (0.0, 5.0, 10.0, 11.0):
        state, output = after(at(t, asks()), state)
        assert charger.step(at(t, asks())) == output
    assert charger.state == state
    assert charger.state.conduct is Conduct.FOLLOWING
    charger.power_cycle()
    assert repr(charger.state) == repr(start_charger(ONE))
    assert charger.step(at(12.0, asks())).limit_a == 0.0
