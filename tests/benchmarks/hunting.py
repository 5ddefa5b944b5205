"""How many traces a hunt can try: swept ones, drawn ones, and ones sent to a program."""

from __future__ import annotations

from collections.abc import Callable
from itertools import islice
from statistics import median

import numpy as np
from hypothesis import HealthCheck, Phase, given, settings

from harness import strategies
from harness.attach import attach, drive
from harness.run import Answers
from harness.strategies import Drawn
from harness.strategies.sweep import sweep
from tests.benchmarks.link import seconds

ROUNDS = 5
SWEPT, DRAWN, SENT = 4000, 1000, 300


def _same(one: Answers, other: Answers) -> bool:
    return bool(
        np.array_equal(one.stage, other.stage)
        and np.array_equal(one.full_reset, other.full_reset)  # type: ignore[arg-type]
        and np.allclose(one.soc, other.soc, rtol=0.0, atol=1e-9)  # type: ignore[arg-type]
    )


def _rate(call: Callable[[], int]) -> str:
    """How many a second, of the median round; the first round is thrown away."""
    done = call()
    return f"{done / median(seconds(call) for _ in range(ROUNDS)):,.0f}"


def swept_a_second() -> str:
    """Traces swept, with the reference's answers, and compared, a second."""

    def call() -> int:
        return sum(_same(one.said, one.said) for one in islice(sweep(0), SWEPT))

    return _rate(call)


def drawn_a_second() -> str:
    """Cases drawn by Hypothesis, with the reference's answers, and compared, a second."""
    profile = settings(
        max_examples=DRAWN,
        phases=[Phase.generate],
        derandomize=True,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )

    def call() -> int:
        count = 0

        @profile
        @given(strategies.cases())
        def compare(drawn: Drawn) -> None:
            nonlocal count
            assert _same(drawn.said, drawn.said)
            count += 1

        compare()
        return count

    return _rate(call)


def sent_a_second(spec: str) -> str:
    """Swept traces that a program answers over the line protocol, compared, a second."""
    with attach(spec) as controller:

        def call() -> int:
            traces = list(islice(sweep(0), SENT))
            alike = sum(_same(drive(controller, one.case).answers, one.said) for one in traces)
            assert alike > 0.9 * len(traces)
            return len(traces)

        return _rate(call)
