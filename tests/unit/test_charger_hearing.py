"""What a charger takes from samples and messages: points 1 to 3 of its rules, by hand."""

from __future__ import annotations

from math import inf, nan

import pytest
from attrs import evolve

from ctrl.charger import ChargerSample, Conduct, Heard, Message, start_charger
from tests.unit.charger_told import FOLLOWS, ONE, QUIET, after, asks, at, follows, states

# 1. Valid samples and continuity


@pytest.mark.parametrize("t", [nan, inf, -inf])
def test_a_sample_without_a_finite_stamp_changes_nothing(t: float) -> None:
    state, output = after(at(t, asks(50.0, 0.0), own_v=56.0, own_a=50.0))
    assert state is FOLLOWS
    assert (output.set_point_v, output.limit_a, output.state) == (56.0, 100.0, Conduct.FOLLOWING)


def test_before_any_valid_sample_it_is_stopped_at_float_voltage() -> None:
    _, output = after(at(nan, asks()), start_charger(ONE))
    assert (output.set_point_v, output.limit_a, output.state) == (54.0, 0.0, Conduct.STOPPED)


def test_stamp_that_is_equal_but_for_rounding_moves_nothing() -> None:
    state, output = after(at(100.0 - 5e-10, asks(), own_v=56.0, own_a=50.0))
    assert (output.set_point_v, output.limit_a) == (56.0, 100.0)
    assert (state.base_v, state.compensation_v) == (56.0, 0.0)


def test_one_message_for_each_pack_or_a_plain_error() -> None:
    for messages in ((), (asks(), asks())):
        with pytest.raises(ValueError, match=f"the sample has {len(messages)} messages"):
            after(at(101.0, *messages))
    with pytest.raises(ValueError, match="the state 2 packs and the settings 1"):
        after(at(101.0, asks()), start_charger(ONE.changed(packs=2)))


@pytest.mark.parametrize(
    ("t", "state"),
    [
        (100.0, Conduct.FOLLOWING),
        (110.0, Conduct.FOLLOWING),
        (110.0 + 5e-10, Conduct.FOLLOWING),
        (110.01, Conduct.FALLBACK),
        (99.99, Conduct.FALLBACK),
        (100.0 - 5e-10, Conduct.FOLLOWING),
    ],
)
def test_a_gap_or_a_step_back_breaks_continuity(t: float, state: Conduct) -> None:
    assert after(at(t, asks()))[1].state is state


def test_a_break_begins_the_steady_dwell_anew() -> None:
    # Steady from 0 s on; the gap before 20.5 s begins it anew, and it takes 10 s again.
    stamps = [0.0, 5.0, 9.0, 20.5, 25.0, 30.4, 30.5]
    assert states(ONE, *(at(t, asks()) for t in stamps)) == ["stopped"] * 6 + ["following"]


def test_ages_stand_still_when_the_clock_is_set_back() -> None:
    # Heard 4 s before; the clock goes back by 1000 s; 1.5 s later the message is old all the same.
    state, _ = after(at(104.0, QUIET))
    assert state.conduct is Conduct.FOLLOWING
    state, output = after(at(-896.0, QUIET), state)
    assert output.state is Conduct.FALLBACK
    assert state.packs[0].heard_s == -900.0
    assert after(at(-840.0, QUIET), state)[1].state is Conduct.FALLBACK
    assert after(at(-839.9, QUIET), state)[1].state is Conduct.STOPPED


def test_a_frozen_reading_stays_frozen_when_the_clock_is_set_back() -> None:
    state, _ = after(at(-900.0, asks()))
    assert state.packs[0].changed_s == -901.0


# 2. Good messages


@pytest.mark.parametrize(
    "message",
    [
        QUIET,
        asks(nan),
        asks(inf),
        asks(29.99),
        asks(70.01),
        asks(52.0, nan),
        asks(52.0, -0.01),
        asks(52.0, 1000.01),
        asks(52.0, inf),
        asks(52.0, age_s=nan),
        asks(52.0, age_s=-0.01),
        asks(52.0, age_s=inf),
        asks(52.0, age_s=5.01),
    ],
)
def test_a_message_that_is_not_good_changes_nothing(message: Message) -> None:
    state, output = after(at(101.0, message))
    assert state == evolve(FOLLOWS, t=101.0)
    assert (output.set_point_v, output.limit_a) == (56.0, 100.0)


@pytest.mark.parametrize("message", [asks(30.0), asks(56.0, 0.0), asks(56.0, age_s=5.0)])
def test_a_message_at_the_bounds_is_good(message: Message) -> None:
    heard = after(at(101.0, message))[0].packs[0]
    assert (heard.request_v, heard.request_a) == (message.request_v, message.request_a)


def test_highest_believable_request_is_good_and_bounded_by_the_charger() -> None:
    state, output = after(at(101.0, asks(70.0, 1000.0)), follows(base_v=57.99, limit_a=99.0))
    assert (state.packs[0].request_v, state.packs[0].request_a) == (70.0, 1000.0)
    assert (output.set_point_v, output.limit_a) == (58.0, 100.0)
    assert (state.base_v, state.compensation_v) == (58.0, 0.0)


def test_pack_is_heard_when_its_message_came_and_never_earlier_than_before() -> None:
    assert after(at(101.0, asks(age_s=0.25)))[0].packs[0].heard_s == 100.75
    assert after(at(101.0, asks(age_s=3.0)))[0].packs[0].heard_s == 100.0


def test_pack_ages_on_while_its_messages_are_not_good() -> None:
    state, output = after(at(105.0, asks(nan)))
    assert output.state is Conduct.FOLLOWING
    assert after(at(105.1, asks(nan)), state)[1].state is Conduct.FALLBACK


# 3. Good readings

FULL = follows(compensation_v=0.2, limit_a=50.0)


def moved(message: Message, changed_s: float = 99.0, t: float = 101.0) -> bool:
    """Whether a sample moves the compensation: downward, where only the reading counts."""
    state = evolve(FULL, t=t - 1.0, packs=(Heard(56.0, 50.0, t - 1.0, 56.5, 50.0, changed_s),))
    sample = ChargerSample(t, 56.2, 10.0, (message,))
    return after(sample, state)[0].compensation_v != 0.2


@pytest.mark.parametrize("reading_v", [nan, inf, -inf, 29.99, 70.01])
def test_reading_that_cannot_be_believed_moves_nothing(reading_v: float) -> None:
    assert not moved(asks(56.0, 50.0, reads_v=reading_v))
    assert moved(asks(56.0, 50.0, reads_v=57.0))


def test_reading_of_a_message_that_is_not_good_moves_nothing() -> None:
    assert not moved(asks(nan, 50.0, reads_v=57.0))
    assert not moved(asks(56.0, 50.0, reads_v=57.0, age_s=5.1))


@pytest.mark.parametrize(
    ("message", "frozen"),
    [
        (asks(56.0, 50.0, reads_v=56.5), True),
        (asks(56.0, 50.0, reads_v=56.51), False),
        (asks(56.0, 50.0, reads_v=56.5, reads_a=50.1), False),
        (asks(56.0, 50.0, reads_v=56.5, reads_a=nan), True),
        (asks(56.0, 50.0, reads_v=56.5, reads_a=1000.1), True),
    ],
)
def test_reading_that_has_not_changed_for_a_while_is_frozen(message: Message, frozen: bool) -> None:
    # Changed last at 99 s, so that it is frozen at 159 s.
    assert moved(message, t=158.9)
    assert moved(message, t=159.0) is not frozen


def test_change_of_a_message_that_is_not_good_is_no_change() -> None:
    assert after(at(101.0, asks(nan, reads_v=55.9)))[0].packs[0] == FOLLOWS.packs[0]
    assert after(at(101.0, asks(reads_v=80.0)))[0].packs[0].changed_s == 99.0


def test_first_reading_is_a_change() -> None:
    state, _ = after(at(7.0, asks(reads_a=nan)), start_charger(ONE))
    assert (state.packs[0].pack_v, state.packs[0].changed_s) == (55.7, 7.0)
    state, _ = after(at(8.0, asks(reads_a=nan)), state)
    assert state.packs[0].changed_s == 7.0
    state, _ = after(at(9.0, asks(reads_a=1.0)), state)
    assert (state.packs[0].pack_a, state.packs[0].changed_s) == (1.0, 9.0)
