"""When answers count as those of the reference."""

from __future__ import annotations

from math import nan
from typing import Any

import numpy as np
import pytest
from attrs import evolve

from harness.hunt.compare import agrees, reference_run
from harness.run import FEATURES, Answers
from tests.hunt.faulty import case

ALL = frozenset(FEATURES)


@pytest.fixture
def said() -> Answers:
    """Bulk, absorption, then float by a full reset."""
    rows = ((0.0, 56.0, 10.0), (3.0, 56.0, 10.0), (13.0, 56.0, 10.0), (14.0, 56.0, 0.0))
    answers = reference_run(case(*rows, hold_s=10.0)).answers
    assert answers.full_reset is not None
    assert answers.stage.tolist() == [0, 1, 2, 2]
    assert answers.full_reset.tolist() == [False, False, True, False]
    return answers


def test_the_same_answers_agree(said: Answers) -> None:
    assert agrees(said, said, ALL)


def test_a_stage_one_sample_late_does_not(said: Answers) -> None:
    late = evolve(said, stage=np.array([0, 0, 2, 2], np.int8))
    assert not agrees(late, said, ALL)


def test_full_resets_are_compared_one_to_one(said: Answers) -> None:
    none = evolve(said, full_reset=np.zeros(4, np.bool_))
    late = evolve(said, full_reset=np.array([False, False, False, True]))
    twice = evolve(said, full_reset=np.array([False, False, True, True]))
    for other in (none, late, twice, evolve(said, full_reset=None)):
        assert not agrees(other, said, ALL)
        assert agrees(other, said, ALL - {"full_reset"})


@pytest.mark.parametrize(
    ("column", "feature"),
    [
        ("soc", "soc"),
        ("voltage_request_v", "requests"),
        ("current_request_a", "requests"),
    ],
)
def test_numbers_agree_to_rounding_and_no_further(said: Answers, column: str, feature: str) -> None:
    def off_by(difference: float) -> Answers:
        values = getattr(said, column).copy()
        values[2] += difference
        return evolve(said, **{column: values})

    assert agrees(off_by(5e-10), said, ALL)
    assert not agrees(off_by(1e-5), said, ALL)
    assert not agrees(off_by(nan), said, ALL)
    assert agrees(off_by(1e-5), said, ALL - {feature})
    without: dict[str, Any] = {column: None}
    assert not agrees(evolve(said, **without), said, ALL)


def test_fewer_answers_never_agree(said: Answers) -> None:
    short = Answers(said.stage[:3], said.soc, said.full_reset)
    assert not agrees(short, said, frozenset({"soc"}))
