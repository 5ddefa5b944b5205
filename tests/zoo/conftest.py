"""The shipped vectors, and what the right controllers make of them; each worked out once."""

from __future__ import annotations

import pytest

from harness.cases import shipped
from harness.run import Case
from harness.zoo.matrix import Known, answers_to
from harness.zoo.subject import attached


@pytest.fixture(scope="session")
def cases() -> tuple[Case, ...]:
    """Every shipped vector as a case."""
    return tuple(vector.case for vector in shipped())


@pytest.fixture(scope="session")
def example(cases: tuple[Case, ...]) -> Known:
    """What the example answers to the vectors as it is."""
    with attached(None) as attachment:
        return answers_to(attachment, cases)
