"""Faulty controllers made systematically: every operator at every place of the reference that it fits."""

from __future__ import annotations

from functools import cache
from itertools import chain

from harness.zoo.mutants import (
    actions,
    guards,
    numbers,
    persistence,
    precision,
    timers,
    transitions,
)
from harness.zoo.mutants.mutant import Mutant

__all__ = ["Mutant", "mutants"]

_FAMILIES = (guards, transitions, timers, numbers, actions, precision, persistence)


@cache
def mutants() -> tuple[Mutant, ...]:
    """Every mutant, equivalent ones included, in an order that does not change."""
    return tuple(chain.from_iterable(family.mutants() for family in _FAMILIES))
