"""Changes of a case that the reducer is made of."""

from __future__ import annotations

from math import inf, nan

import numpy as np
import pytest
from attrs import evolve

from harness.hunt.edit import intervals, kept, key, plain, with_column
from harness.hunt.size import size
from harness.run import Case
from tests.hunt.faulty import case

FIVE = case(*((float(t), 55.0 + t, 1.0) for t in (0, 1, 3, 6, 10)))


def keep(*rows: int) -> np.ndarray:
    return np.isin(np.arange(5), rows)


def test_stamps_stay_or_close_up() -> None:
    assert kept(FIVE, keep(0, 3, 4)).trace.t.tolist() == [0, 6, 10]
    # Rows 1 and 2 take their intervals of 1 s and 2 s with them.
    closed = kept(FIVE, keep(0, 3, 4), closed_up=True)
    assert closed.trace.t.tolist() == [0, 3, 7]
    assert closed.trace.v.tolist() == [55, 61, 65]


def test_a_loss_of_power_moves_to_the_next_row_that_is_left() -> None:
    cut = evolve(FIVE, power_cycles=(1, 4), cuts=(2,))
    assert kept(cut, keep(0, 3, 4)).power_cycles == (1, 2)
    assert kept(cut, keep(0, 3, 4)).cuts == (1,)
    # Before the first row, and behind the last one, there is nothing to lose.
    assert kept(cut, keep(1, 2)).power_cycles == ()
    assert kept(cut, keep(2, 3)).cuts == ()


def test_a_request_moves_too_and_may_come_before_the_first_row() -> None:
    asked = evolve(FIVE, equalise_requests=(1, 4))
    assert kept(asked, keep(0, 3, 4)).equalise_requests == (1, 2)
    assert kept(asked, keep(1, 2)).equalise_requests == (0,)
    assert key(asked) != key(FIVE)


def test_intervals_skip_what_has_no_stamp() -> None:
    assert intervals(np.array([2.0, nan, 5.0, 4.0])).tolist() == [0, 0, 3, -1]


def test_what_a_controller_cannot_tell_apart_is_one_case() -> None:
    other = with_column(FIVE, "i", np.array([1.0, inf, 1.0, 1.0, 1.0]))
    missing = with_column(FIVE, "i", np.array([1.0, nan, 1.0, 1.0, 1.0]))
    assert key(plain(other)) == key(plain(missing))
    assert key(plain(other)) != key(FIVE)
    assert key(FIVE) != key(evolve(FIVE, soc=0.4))


def test_a_column_that_a_trace_needs_cannot_go() -> None:
    with pytest.raises(ValueError, match="needs the column v"):
        with_column(FIVE, "v", None)


@pytest.mark.parametrize(
    "harder",
    [
        case(*((float(t), 55.0 + t, 1.0) for t in (0, 1, 3, 6, 10, 11))),
        case(*((float(t), 55.0 + t, 1.0) for t in (0, 1, 3, 6, 10)), hold_s=10.0),
        case(*((t + 0.125, 55.0 + t, 1.0) for t in (0, 1, 3, 6, 10))),
        case(*((float(t), 55.0 + t, 1.0) for t in (0, 1, 3, 3, 10))),
        case(*((float(t), 55.0 + t, 1.0) for t in (0, 1, 3, 6, 10)), soc=0.25),
        with_column(FIVE, "temp_c", np.full(5, 25.0)),
        evolve(FIVE, power_cycles=(2,)),
        evolve(FIVE, equalise_requests=(2,)),
    ],
)
def test_what_is_harder_to_read_is_larger(harder: Case) -> None:
    assert size(harder) > size(FIVE)
