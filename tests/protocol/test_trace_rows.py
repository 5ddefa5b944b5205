"""A trace as rows of the line protocol."""

from __future__ import annotations

import math

import numpy as np
import orjson
import pytest

from harness.attach.program import ROWS_A_TABLE, rows_as_text
from harness.run import Trace


def test_rows_hold_the_columns_in_order_and_none_for_what_is_missing() -> None:
    trace = Trace(
        t=np.array([0.0, 1.5, math.nan]),
        v=np.array([54.25, math.nan, 1.0]),
        i=np.array([math.inf, -3.0, 0.0]),
        temp_c=np.array([20.0, math.nan, -0.0]),
    )
    assert trace.columns == ("t", "v", "i", "temp_c")
    assert trace.rows() == [
        [0.0, 54.25, None, 20.0],
        [1.5, None, -3.0, None],
        [None, 1.0, 0.0, -0.0],
    ]


def test_no_samples_make_no_rows() -> None:
    nothing = np.array([])
    assert Trace(nothing, nothing, nothing).rows() == []


def test_columns_of_different_length_are_refused() -> None:
    with pytest.raises(ValueError, match="differ in length"):
        Trace(np.zeros(2), np.zeros(2), np.zeros(3))


def test_rows_keep_every_bit() -> None:
    v = np.array([0.1 + 0.2, 1 / 3, 5e-324, 1.7976931348623157e308, 55.8])
    trace = Trace(np.arange(5.0), v, np.zeros(5))
    assert [row[1] for row in trace.rows()] == [
        *(0.30000000000000004, 0.3333333333333333, 5e-324, 1.7976931348623157e308, 55.8)
    ]


@pytest.mark.parametrize("rows_a_message", [1, 2, 7, 1000])
def test_the_text_that_is_sent_says_the_same(rows_a_message: int) -> None:
    random = np.random.default_rng(7)
    v = random.normal(54.0, 1.0, 23)
    v[[3, 22]] = math.nan, math.inf
    trace = Trace(np.arange(23.0), v, random.normal(0.0, 30.0, 23), temp_c=np.full(23, math.nan))
    told = list(rows_as_text(trace, rows_a_message))
    assert [count for count, _ in told] == [
        min(rows_a_message, 23 - first) for first in range(0, 23, rows_a_message)
    ]
    assert [row for _, text in told for row in orjson.loads(text)] == trace.rows()


def test_a_trace_of_more_than_one_table_is_sent_whole() -> None:
    size = ROWS_A_TABLE + 5
    trace = Trace(np.arange(float(size)), np.full(size, 54.0), np.zeros(size))
    rows = [row for _, text in rows_as_text(trace, 1000) for row in orjson.loads(text)]
    assert len(rows) == size
    assert [rows[0][0], rows[ROWS_A_TABLE][0], rows[-1][0]] == [0.0, 64000.0, 64004.0]
