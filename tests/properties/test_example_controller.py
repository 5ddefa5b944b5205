"""The reference against the example controller: two programs written from the rules alone.

Nobody wrote the one with the other before them, and they share no code. All stages, full resets
and requests are equal at every sample; the counts, which are summed in another order, to 1e-12.
"""

from __future__ import annotations

import importlib.util
from math import isfinite
from pathlib import Path
from typing import Any

from hypothesis import given, settings

from ctrl.settings import Settings
from ctrl.state import Sample
from tests.properties.generated import Walk, settings_and_walks
from tests.properties.walking import outputs

EXAMPLE = Path(__file__).parents[2] / "harness" / "examples" / "python" / "controller.py"

Answer = tuple[str, bool, float, float]


def example_class() -> Any:
    spec = importlib.util.spec_from_file_location("example_controller", EXAMPLE)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.Controller


CONTROLLER = example_class()


def readings(sample: Sample) -> list[float | None]:
    values = (
        sample.t,
        sample.v,
        sample.i,
        sample.cell_max_v,
        sample.temp_c,
        sample.temp_max_c,
    )
    return [value if isfinite(value) else None for value in values]


def example_answers(settings: Settings, walk: Walk) -> tuple[list[Answer], list[float]]:
    controller = CONTROLLER(settings.to_mapping(), walk.soc)
    answers: list[Answer] = []
    counts: list[float] = []
    for k, sample in enumerate(walk.samples):
        if k in walk.power_cycles:
            controller.power_cycle()
        if k in walk.requests:
            controller.request_equalisation()
        said = controller.step(*readings(sample))
        answers.append(
            (
                said["stage"],
                said["full_reset"],
                said["voltage_request_v"],
                said["current_request_a"],
            )
        )
        counts.append(said["soc"])
    return answers, counts


def reference_answers(settings: Settings, walk: Walk) -> tuple[list[Answer], list[float]]:
    said, _ = outputs(settings, walk)
    answers = [
        (
            output.stage.word,
            output.full_reset,
            output.voltage_request_v,
            output.current_request_a,
        )
        for output in said
    ]
    return answers, [output.soc for output in said]


def check(settings: Settings, walk: Walk) -> None:
    expected, expected_counts = example_answers(settings, walk)
    answers, counts = reference_answers(settings, walk)
    for k, (answer, other) in enumerate(zip(answers, expected, strict=True)):
        assert answer == other, f"sample {k}: {walk.samples[k]}"
    for k, (count, other_count) in enumerate(zip(counts, expected_counts, strict=True)):
        assert abs(count - other_count) <= 1e-12, f"sample {k}: {walk.samples[k]}"


@settings(max_examples=4 * settings().max_examples)
@given(settings_and_walks(exact=True))
def test_same_answers_to_traces_with_every_fault(drawn: tuple[Settings, Walk]) -> None:
    check(*drawn)


@settings(max_examples=2 * settings().max_examples)
@given(settings_and_walks(exact=True, faults=False))
def test_same_answers_to_traces_without_faults(drawn: tuple[Settings, Walk]) -> None:
    check(*drawn)
