"""How long a condition has held: the primitive behind most requirements, on arrays worked by hand."""

import numpy as np
import pytest

from harness.rules.held import Held
from harness.rules.holds import hold_clock

T = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
HOLDS = np.array([False, True, True, True, False, True, True])
NONE = np.empty(0, np.intp)


def test_stretches_are_found_with_their_ends() -> None:
    held = Held.of(HOLDS, T, NONE)
    assert held.start.tolist() == [1, 5]
    assert held.stop.tolist() == [4, 7]


def test_a_split_begins_a_stretch_anew_only_where_the_condition_runs_across_it() -> None:
    held = Held.of(HOLDS, T, np.array([0, 1, 2, 4, 5]))
    assert held.start.tolist() == [1, 2, 5]
    assert held.stop.tolist() == [2, 4, 7]


def test_nothing_holds_and_everything_holds() -> None:
    assert Held.of(np.zeros(3, np.bool_), T[:3], NONE).start.tolist() == []
    whole = Held.of(np.ones(3, np.bool_), T[:3], NONE)
    assert (whole.start.tolist(), whole.stop.tolist()) == ([0], [3])


@pytest.mark.parametrize(
    ("k", "held_s"), [(0, -np.inf), (1, 0.0), (3, 2.0), (4, -np.inf), (6, 1.0)]
)
def test_time_held_at_a_sample(k: int, held_s: float) -> None:
    assert Held.of(HOLDS, T, NONE).held_s(k) == held_s


@pytest.mark.parametrize(
    ("first", "last", "dwell_s", "due"),
    [
        (0, 6, 0.0, 1),
        (0, 6, 2.0, 3),
        (0, 6, 2.5, -1),
        (4, 6, 1.0, 6),
        (2, 6, 0.0, 2),
        (0, 2, 2.0, -1),
        (4, 4, 0.0, -1),
    ],
)
def test_first_sample_at_which_a_dwell_is_over(
    first: int, last: int, dwell_s: float, due: int
) -> None:
    assert Held.of(HOLDS, T, NONE).due(first, last, dwell_s) == due


def test_decimal_fractions_of_a_second_add_up() -> None:
    t = np.array([0.0, 0.1, 0.2, 3 * 0.1])
    assert t[3] - t[0] != 0.3
    assert Held.of(np.ones(4, np.bool_), t, NONE).due(0, 3, 0.3) == 3


def test_a_decision_may_come_at_the_next_later_stamp() -> None:
    t = np.array([0.0, 1.0, 1.0, 2.0])
    held = Held.of(np.ones(4, np.bool_), t, NONE)
    assert held.following(1, 0.0) == 3
    assert held.following(3, 0.0) == -1
    assert held.following(0, 1.5) == 3


SAG = np.array([False, False, True, True, False, False, False])


@pytest.mark.parametrize(
    ("on_sag", "elapsed_s"),
    [
        ("run", [0, 1, 2, 3, 4, 5, 6]),
        # The interval that ends at the first low sample counts, those that start at a low one do not.
        ("pause", [0, 1, 2, 2, 2, 3, 4]),
        ("restart", [0, 1, 0, 0, 0, 1, 2]),
    ],
)
def test_hold_clock_over_a_sag(on_sag: str, elapsed_s: list[float]) -> None:
    assert hold_clock(T, SAG, on_sag).tolist() == elapsed_s
