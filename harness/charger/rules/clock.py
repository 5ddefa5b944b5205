"""CLOCK: stamps that are missing, that jump, and that step back."""

from __future__ import annotations

from harness.charger.rules import names
from harness.charger.rules.conduct import conduct, invalid
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=names.INVALID,
        title="a sample without a stamp changes nothing",
        statement="At a sample whose `t` is not finite, state, set-point and limit stay as they were.",
        reason="A reading that belongs to no time belongs to no decision.",
        check=invalid,
    ),
    Requirement(
        id=names.BREAK,
        title="a break in time ends following, and raises nothing",
        statement=(
            "At a gap longer than `max_gap_s`, or a stamp that steps back, a charger that follows "
            "falls back, the wait for steady messages begins anew, and nothing rises over the "
            "interval."
        ),
        reason="Code that hung for a minute must not go on as if nothing had happened.",
        check=conduct,
    ),
    Requirement(
        id=names.AGES,
        title="a clock that is set back makes nothing younger",
        statement="When a stamp steps back, the ages of what was heard stay what they were.",
        reason="A clock that is set back by an hour makes a dead pack look fresh for an hour.",
        check=conduct,
    ),
)
