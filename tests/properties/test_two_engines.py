"""The reference and the compiled rules say the same to every sample, bit for bit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from attrs import evolve
from hypothesis import given
from hypothesis import strategies as st

from ctrl.compiled import replay, replay_many
from ctrl.controller import start
from ctrl.limits import Limits
from ctrl.resets import RESET_RULES, VOLTAGE_AFTER_HOLD, ResetRule
from ctrl.settings import Settings
from tests.properties.generated import Walk, settings_and_walks
from tests.properties.walking import ALL_COLUMNS, replayed, stepped

HIGHEST_A = 20.0


def loaded_or_calm(limits: Limits, level_v: float, i: float) -> bool:
    """A rule of nobody's: at `full_v`, or under it by less than a volt while hardly charging."""
    return level_v >= limits.full_v or (level_v > limits.full_v - 1.0 and i < HIGHEST_A)


OWN_RULE = ResetRule("own", "a rule of one's own", True, True, loaded_or_calm)


@given(settings_and_walks())
def test_same_bits_with_all_columns(drawn: tuple[Settings, Walk]) -> None:
    settings, walk = drawn
    assert replayed(settings, walk).bits() == stepped(settings, walk).bits()


@given(settings_and_walks(), st.sampled_from(sorted(RESET_RULES)))
def test_same_bits_by_every_reset_rule(drawn: tuple[Settings, Walk], name: str) -> None:
    settings, walk = drawn
    rule = RESET_RULES[name]
    assert replayed(settings, walk, rule).bits() == stepped(settings, walk, rule).bits()


@given(settings_and_walks())
def test_same_bits_by_a_rule_of_ones_own(drawn: tuple[Settings, Walk]) -> None:
    settings, walk = drawn
    assert replayed(settings, walk, OWN_RULE).bits() == stepped(settings, walk, OWN_RULE).bits()


@given(settings_and_walks(), st.sets(st.sampled_from(ALL_COLUMNS), max_size=2))
def test_same_bits_where_columns_are_absent(
    drawn: tuple[Settings, Walk], present: set[str]
) -> None:
    settings, walk = drawn
    absent = dict.fromkeys(set(ALL_COLUMNS) - present, float("nan"))
    blind = evolve(walk, samples=tuple(evolve(sample, **absent) for sample in walk.samples))
    optional = tuple(name for name in ALL_COLUMNS if name in present)
    assert replayed(settings, blind, optional=optional).bits() == stepped(settings, blind).bits()


@given(settings_and_walks(), st.frozensets(st.integers(0, 100), max_size=6))
def test_where_a_trace_is_cut_makes_no_difference(
    drawn: tuple[Settings, Walk], cuts: frozenset[int]
) -> None:
    settings, walk = drawn
    inside = frozenset(cut for cut in cuts if cut < len(walk.samples))
    assert replayed(settings, walk, cuts=inside).bits() == replayed(settings, walk).bits()


@given(settings_and_walks(), st.integers(1, 4))
def test_many_traces_at_once_are_as_one_by_one(drawn: tuple[Settings, Walk], count: int) -> None:
    settings, walk = drawn
    columns = [np.array(column) for column in walk.columns("t", "v", "i")]
    # Each trace begins at another sample, so no two are alike.
    rows = [np.stack([np.roll(column, -k) for k in range(count)]) for column in columns]
    stage, soc, news = replay_many(settings, start(walk.soc), *rows)
    for k in range(count):
        alone = replay(settings, start(walk.soc), *(row[k] for row in rows), requests=False)
        assert alone.voltage_request_v is None
        assert stage[k].tobytes() == alone.stage.tobytes()
        assert soc[k].tobytes() == alone.soc.tobytes()
        assert news[k].tobytes() == alone.news.tobytes()


@pytest.mark.parametrize("short", ["v", "i", "cell_max_v", "temp_c", "temp_max_c"])
def test_columns_of_different_length_are_refused(short: str) -> None:
    columns: dict[str, Any] = {name: np.zeros(5) for name in ("t", "v", "i", *ALL_COLUMNS)}
    columns[short] = np.zeros(4)
    with pytest.raises(ValueError, match="the columns of a trace differ in shape"):
        replay(Settings(), start(0.5), **columns)


def test_columns_of_the_wrong_dimension_are_refused() -> None:
    row, table = np.zeros(4), np.zeros((2, 2))
    with pytest.raises(ValueError, match="one-dimensional"):
        replay(Settings(), start(0.5), table, table, table)
    with pytest.raises(ValueError, match="traces are rows"):
        replay_many(Settings(), start(0.5), row, row, row)


def test_arrays_of_an_earlier_answer_can_be_written_over() -> None:
    t, v, i = np.arange(6.0), np.full(6, 56.0), np.ones(6)
    first = replay(Settings(), start(0.5), t, v - 9.0, i)
    again = replay(Settings(), start(0.25), t, v, i, into=first)
    fresh = replay(Settings(), start(0.25), t, v, i)
    assert again.soc is first.soc
    assert again.stage.tolist() == fresh.stage.tolist() == [0, 0, 0, 1, 1, 1]
    assert again.soc.tobytes() == fresh.soc.tobytes()
    assert again.current_request_a is first.current_request_a
    for wrong in (replay(Settings(), start(0.5), t[1:], v[1:], i[1:]), again):
        with pytest.raises(ValueError, match="to be written over"):
            replay(Settings(), start(0.5), t, v, i, requests=wrong is not again, into=wrong)
    rows = [column.reshape(2, 3) for column in (t, v, i)]
    answers = replay_many(Settings(), start(0.5), *rows)
    assert replay_many(Settings(), start(0.25), *rows, into=answers)[1] is answers[1]
    assert answers[1][0, 0] == 0.25
    with pytest.raises(ValueError, match="to be written over"):
        replay_many(Settings(), start(0.5), *(row[1:] for row in rows), into=answers)


def test_a_trace_without_samples_changes_nothing() -> None:
    nothing = np.zeros(0)
    said = replay(Settings(), start(0.5), nothing, nothing, nothing)
    assert len(said.stage) == 0
    assert repr(said.state) == repr(start(0.5))
    empty = np.zeros((0, 7))
    assert replay_many(Settings(), start(0.5), empty, empty, empty)[0].shape == (0, 7)


def test_numbers_of_another_type_or_layout_are_taken() -> None:
    table = np.array([[0, 56, 10], [4, 56, 10], [8, 56, 10]])
    said = replay(Settings(), start(0.5), *table.T)
    assert said.stage.tolist() == [0, 1, 1]
    assert said.voltage_request_v is not None
    assert said.voltage_request_v.tolist() == [56.0, 56.0, 56.0]


def test_replay_takes_its_news_apart() -> None:
    t = np.arange(0.0, 12.0, 2.0)
    v = np.full(6, 56.0)
    said = replay(Settings(hold_s=4.0), start(0.5), t, v, np.zeros(6), rule=VOLTAGE_AFTER_HOLD)
    assert said.stage.tolist() == [0, 0, 1, 1, 2, 2]
    assert said.full_reset.tolist() == [False, False, False, False, True, False]
    assert said.happened.tolist() == [0, 0, 16, 0, 96, 0]
    gap = replay(Settings(), start(0.5), np.array([0.0, 3.0, 99.0]), v[:3], np.zeros(3))
    assert gap.stage.tolist() == [0, 1, 0]
    assert gap.cause.tolist() == [0, 0, 1]
    assert gap.happened.tolist() == [0, 16, 8]
