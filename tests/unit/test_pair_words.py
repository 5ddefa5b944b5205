"""Whom the verdict on a pair blames, from who fills every pack with the reference beside him."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from harness.report.pair_words import blame_sentence
from harness.report.paired import Crossed
from harness.world.filled import Filling
from harness.world.result import Reset

FULL = Filling("hut", Reset(10.0, 0.99, None), None, 0.99, 56.0, -0.2)
SHORT = Filling("hut", None, None, 0.97, 55.7, 0.1)


def pair(
    *crossed: Crossed, controllers: bool = True, charger: bool = True, full: bool = False
) -> Any:
    return SimpleNamespace(
        fills_all=full, own_controllers=controllers, own_charger=charger, crossed=crossed
    )


def sides(both: bool, other_charger: bool, other_controllers: bool) -> tuple[Crossed, ...]:
    """Whether every pack is filled: by the reference pair, with its charger, with its controllers."""
    return tuple(
        Crossed(own_controllers, own_charger, (FULL if fills else SHORT,))
        for own_controllers, own_charger, fills in (
            (False, False, both),
            (True, False, other_charger),
            (False, True, other_controllers),
        )
    )


@pytest.mark.parametrize(
    ("fills", "told"),
    [
        ((True, True, False), "The charger is why"),
        ((True, False, True), "The controllers are why"),
        ((True, False, False), "Both are why"),
        ((True, True, True), "They do not fit each other"),
        ((False, False, False), "The reference pair does not fill every pack here either"),
    ],
)
def test_both_sides_under_test(fills: tuple[bool, bool, bool], told: str) -> None:
    assert blame_sentence(pair(*sides(*fills))).startswith(told)


def test_one_side_under_test_needs_the_reference_pair_alone() -> None:
    works = Crossed(False, False, (FULL,))
    assert blame_sentence(pair(works, controllers=False)).startswith("The charger is why")
    assert blame_sentence(pair(works, charger=False)).startswith("The controllers are why")


def test_what_could_not_be_run_blames_nobody() -> None:
    stopped = Crossed(False, False, (), "the bus voltage is not above zero")
    assert "could not be run here: the bus voltage" in blame_sentence(pair(stopped))
    assert not stopped.fills_all


def test_nobody_is_blamed_where_nothing_was_tried_or_every_pack_is_filled() -> None:
    assert blame_sentence(pair()) == ""
    assert blame_sentence(pair(*sides(True, True, True), full=True)) == ""
    alone = blame_sentence(pair(controllers=False, charger=False))
    assert alone.startswith("This is the reference pair: look for the cause in wiring")
