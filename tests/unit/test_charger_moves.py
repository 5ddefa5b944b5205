"""Moves of a set-point or limit, summed up: where each begins and ends, and what is none."""

from __future__ import annotations

import pytest

from harness.report.charger_timeline import REST, moves


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ([], []),
        ([54.0], []),
        ([54.0, 54.0, 56.0, 56.0], [(1, 2)]),
        ([54.0, 54.1, 54.2, 54.3], [(0, 3)]),
        ([54.0, 55.0, 56.0, 55.5, 55.0, 55.0], [(0, 2), (2, 4)]),
        ([54.0, 54.001, 54.002, 54.001], []),
        ([54.0, 55.0, *[55.0] * (REST - 2), 56.0], [(0, REST)]),
        ([54.0, 55.0, *[55.0] * REST, 56.0], [(0, 1), (REST + 1, REST + 2)]),
        ([54.0, float("nan"), 54.0, 55.0], [(2, 3)]),
    ],
)
def test_a_move_goes_one_way_without_a_rest(
    values: list[float], told: list[tuple[int, int]]
) -> None:
    assert list(moves(values, 0.005)) == told
