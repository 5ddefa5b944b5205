"""Seconds become milliseconds of a 32-bit counter: differences stay, wraps and steps too."""

from __future__ import annotations

from math import inf, nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.attach.library.stamps import COUNTER, LONGEST_STEP_MS, Clock, in_milliseconds


def steps_of(stamps: list[float], start_ms: int = 0) -> list[int]:
    """The differences of the counter, read as signed."""
    ticks = Clock(start_ms).ticks(np.array(stamps)).astype(np.int64)
    return [int((step + COUNTER // 2) % COUNTER - COUNTER // 2) for step in np.diff(ticks)]


def test_the_counter_begins_at_0_again() -> None:
    assert Clock(COUNTER - 2000).ticks(np.arange(4.0)).tolist() == [
        4294965296,
        4294966296,
        0,
        1000,
    ]


def test_stamps_are_rounded_to_the_millisecond() -> None:
    assert Clock(0).ticks(np.array([0.0004, 0.0006, 2.4999])).tolist() == [0, 1, 2500]
    assert in_milliseconds(np.array([0.0004, 2.4999, 1e306, 7.0])).tolist() == [0, 2.5, 1e306, 7.0]
    assert np.isnan(in_milliseconds(np.array([nan])))[0]


@pytest.mark.parametrize(
    ("stamps", "steps"),
    [
        ([0.0, 5.0, 3.0], [5000, -2000]),
        ([-5.0, 5.0], [10_000]),
        # Steps that the counter cannot tell from shorter ones.
        ([0.0, 4294967.296], [LONGEST_STEP_MS]),
        ([4294967.295, 0.999], [-LONGEST_STEP_MS]),
        ([0.0, 1e12], [LONGEST_STEP_MS]),
        ([0.0, 1e300, 1e300], [LONGEST_STEP_MS, 0]),
        # What follows one is as before.
        ([0.0, 1e9, 1e9 + 1, 1e9 + 3], [LONGEST_STEP_MS, 1000, 2000]),
    ],
)
def test_steps(stamps: list[float], steps: list[int]) -> None:
    assert steps_of(stamps) == steps
    assert steps_of(stamps, COUNTER - 10_000) == steps


def test_stamps_that_return_are_where_they_were() -> None:
    clock = Clock(0)
    assert clock.ticks(np.array([100.0, 1e9, 101.0])).tolist()[::2] == [100_000, 101_000]
    assert clock.ticks(np.array([102.0])).tolist() == [102_000]


def test_a_missing_stamp_moves_nothing() -> None:
    assert Clock(0).ticks(np.array([1.0, nan, 2.0, inf])).tolist() == [1000, 0, 2000, 0]
    assert Clock(0).ticks(np.array([nan])).tolist() == [0]


@given(
    st.lists(st.floats(-1e7, 1e7), min_size=1, max_size=30),
    st.integers(0, 30),
    st.integers(0, COUNTER - 1),
)
def test_how_a_trace_is_cut_changes_nothing(stamps: list[float], cut: int, start_ms: int) -> None:
    t = np.array(stamps)
    pieces = Clock(start_ms)
    joined = np.concatenate([pieces.ticks(t[:cut]), pieces.ticks(t[cut:])])
    assert joined.tolist() == Clock(start_ms).ticks(t).tolist()


@given(st.lists(st.integers(-(10**6), 10**6), min_size=2, max_size=30))
def test_differences_of_whole_seconds_are_exact(stamps: list[int]) -> None:
    steps = np.diff(np.array(stamps)) * 1000
    assert steps_of([float(stamp) for stamp in stamps]) == steps.tolist()
