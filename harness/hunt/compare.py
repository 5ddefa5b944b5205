"""Whether a controller answers a trace as the reference does, which needs no judging then."""

from __future__ import annotations

import numpy as np

from harness.attach.drive import drive
from harness.attach.reference import ReferenceAttachment, open_attachment
from harness.run import Answers, Case, Floats, Run

# A sum that is taken in another order is the same answer.
EQUAL = 1e-9
# What each feature puts into the answers; the stage is always compared.
_NUMBERS = {
    "soc": ("soc",),
    "requests": ("voltage_request_v", "current_request_a"),
}


def agrees(answers: Answers, said: Answers, features: frozenset[str]) -> bool:
    """Whether every answer is that of the reference: stages and full resets sample by sample.

    Args:
        answers: of the controller.
        said: of the reference, to the same trace.
        features: what the controller claims; what it answers beyond that is not looked at.
    """
    if not np.array_equal(answers.stage, said.stage):
        return False
    if "full_reset" in features and not _same_flags(answers, said):
        return False
    return all(
        _near(getattr(answers, name), getattr(said, name))
        for feature, names in _NUMBERS.items()
        if feature in features
        for name in names
    )


def reference_run(case: Case) -> Run:
    """What the reference answers to a case."""
    return drive(open_attachment("ref", "", limit_s=10.0), case)


def is_reference(attachment: object) -> bool:
    """Whether the controller is the reference itself: then agreement says nothing about it."""
    return isinstance(attachment, ReferenceAttachment)


def _same_flags(answers: Answers, said: Answers) -> bool:
    one, other = answers.full_reset, said.full_reset
    # A column that the controller claims and does not answer is for the judge to look at.
    return one is not None and other is not None and bool(np.array_equal(one, other))


def _near(one: Floats | None, other: Floats | None) -> bool:
    if one is None or other is None or one.shape != other.shape:
        return False
    # Not a number is near nothing.
    return bool(np.all(np.abs(one - other) <= EQUAL * np.maximum(1.0, np.abs(other))))
