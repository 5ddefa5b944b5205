"""The shipped vectors, and what each controller of the zoo makes of them; each worked out once."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pytest

from harness.cases import shipped
from harness.run import Case
from harness.zoo.fault import Fault
from harness.zoo.matrix import Row, answers_to, attached, examine


@pytest.fixture(scope="session")
def cases() -> tuple[Case, ...]:
    """Every shipped vector as a case."""
    return tuple(vector.case for vector in shipped())


@pytest.fixture(scope="session")
def row_of(cases: tuple[Case, ...]) -> Callable[[Fault], Row]:
    """What the vectors say of a faulty controller."""
    with attached(None) as attachment:
        example = answers_to(attachment, cases)

    @cache
    def worked_out(fault: Fault) -> Row:
        return examine(fault, cases, example)

    return worked_out
