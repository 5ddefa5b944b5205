"""The contenders of the table, measured one by one: `pytest --benchmark-only tests/benchmarks`.

Skipped by default, and never failed on time. What is asserted is that the work was done, and that
the forms that are compared with each other give the same answers.
"""

from __future__ import annotations

from itertools import islice
from typing import Any

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from tests.benchmarks import workload
from tests.benchmarks.library_machine import library_answers
from tests.benchmarks.plain_machine import plain_answers


@pytest.mark.parametrize("name", workload.CONTENDERS)
def test_contender(name: str, benchmark: BenchmarkFixture) -> None:
    benchmark.group = name.split(":")[0]
    benchmark.extra_info["samples"] = (
        workload.YEAR_S if benchmark.group == "year" else workload.PART
    )
    pedantic: Any = benchmark.pedantic
    done = pedantic(workload.CONTENDERS[name], rounds=5, warmup_rounds=1)
    assert done is not None


def test_forms_that_are_compared_give_the_same_answers() -> None:
    """Over a whole day, in which the pack is reset four times."""
    day = 86_401
    plain = list(islice(plain_answers(workload.SETTINGS, 0.5, workload.part_rows()), day))
    library = list(islice(library_answers(workload.SETTINGS, 0.5, workload.part_rows()), day))
    reference = [
        (
            int(output.stage),
            output.soc,
            output.full_reset,
            output.voltage_request_v,
            output.current_request_a,
        )
        for output in islice(workload.reference_outputs(), day)
    ]
    assert plain == reference
    assert library == reference
    assert sum(answer[2] for answer in reference) == 4
    compiled = workload.replay_part()
    assert compiled.stage[:day].tolist() == [answer[0] for answer in reference]
    assert compiled.soc[:day].tolist() == [answer[1] for answer in reference]


@pytest.mark.parametrize(
    "changes",
    [
        {"on_sag": "pause"},
        {"on_unconfirmed": "wait"},
        {"taper_a": 5.0},
        {"compensation_v_per_c": -0.01},
    ],
)
def test_plain_forms_refuse_what_they_do_not_know(changes: dict[str, object]) -> None:
    settings = workload.SETTINGS.changed(**changes)
    for answers in (plain_answers, library_answers):
        with pytest.raises(ValueError, match="must be"):
            next(answers(settings, 0.5, workload.part_rows()))
