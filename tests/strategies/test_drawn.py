"""The same shapes drawn by Hypothesis: valid, right, and shrunk to something short."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, find, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from ctrl.settings import Settings
from harness import strategies
from harness.attach import attach, drive
from harness.judge import judge
from harness.run import ANSWER_COLUMNS
from harness.strategies import Drawn
from harness.strategies.choices import HEAD_CHOICES, MOST_SEGMENTS, SEGMENT_CHOICES
from harness.strategies.grow import grown
from harness.strategies.settings_choices import OPTIONS, settings_from
from harness.zoo.build import fault_named
from harness.zoo.subject import attached

NONE = frozenset[str]()


def test_zeros_are_the_defaults_but_for_short_timers() -> None:
    own = settings_from([0] * len(OPTIONS), frozenset({"soc"} | set(ALL)))
    changed = {
        name: value
        for name, value in own.to_mapping().items()
        if value != Settings().to_mapping()[name]
    }
    assert changed == {"hold_s": 60.0, "wait_limit_s": 20.0, "return_dwell_s": 10.0}


ALL = (
    *("float_timer", "return_soc", "confirm", "taper", "empty_reset", "cell_protection"),
    *("temperature_protection", "compensation", "sag_pause", "sag_restart", "wait"),
)


@given(st.binary(min_size=len(OPTIONS), max_size=len(OPTIONS)))
def test_any_numbers_give_settings_without_contradiction(choices: bytes) -> None:
    own = settings_from(choices, frozenset(ALL))
    assert Settings.from_mapping(own.to_mapping()) == own


@given(strategies.cases())
def test_a_drawn_case_has_the_answers_of_the_reference(drawn: Drawn) -> None:
    with attach("ref") as reference:
        answers = drive(reference, drawn.case).answers
    for name in ANSWER_COLUMNS:
        assert np.array_equal(getattr(answers, name), getattr(drawn.said, name))


@given(strategies.cases(Settings(hold_s=10.0), features=NONE, most_segments=2))
def test_given_settings_and_few_segments(drawn: Drawn) -> None:
    assert drawn.case.settings == Settings(hold_s=10.0)
    assert drawn.case.power_cycles == ()


@given(strategies.cases(strategies.settings(NONE)))
def test_a_strategy_for_the_settings(drawn: Drawn) -> None:
    assert drawn.case.settings.cell_limit_v is None


@pytest.mark.parametrize("count", [0, MOST_SEGMENTS + 1])
def test_a_count_of_segments_that_cannot_be(count: int) -> None:
    with pytest.raises(ValueError, match="most_segments"):
        strategies.cases(most_segments=count)


def test_what_is_printed_brings_the_case_back() -> None:
    drawn = find(strategies.cases(), lambda drawn: len(drawn.case.trace) > 0)
    made = repr(drawn)
    assert "settings=Settings(" in made
    assert "'t': [0.0" in made


@pytest.mark.parametrize(
    ("fault", "most_samples"), [("hold-three-seconds-short", 60), ("entry-ten-millivolts-low", 20)]
)
def test_a_failing_case_is_shrunk(fault: str, most_samples: int) -> None:
    broken = fault_named(fault)
    with attached(broken) as controller:

        def breaks(drawn: Drawn) -> bool:
            run = drive(controller, drawn.case)
            if np.array_equal(run.answers.stage, drawn.said.stage):
                return False
            return any(f.requirement == broken.requirement for f in judge(run).findings)

        profile = hypothesis_settings(
            max_examples=1000,
            derandomize=True,
            database=None,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        )
        smallest = find(strategies.cases(), breaks, settings=profile)
        assert breaks(smallest)
    assert len(smallest.case.trace) <= most_samples


def numbers(cases: int, segments: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    heads = np.zeros((cases, HEAD_CHOICES), np.int64)
    chosen = np.zeros((cases, segments, SEGMENT_CHOICES), np.int64)
    return heads, chosen, np.full(cases, segments)


def test_choices_out_of_range_are_refused() -> None:
    heads, chosen, used = numbers(1, 2)
    chosen[0, 1, 3] = 64
    with pytest.raises(ValueError, match="less than 64"):
        grown(["one"], Settings(), heads, chosen, used)


def test_shapes_that_do_not_fit_are_refused() -> None:
    heads, chosen, used = numbers(2, 2)
    with pytest.raises(ValueError, match="shapes"):
        grown(["one"], Settings(), heads, chosen, used)
    with pytest.raises(ValueError, match="or more"):
        grown(["one", "two"], Settings(), heads, chosen, used + 1)
