"""Choices from whole numbers: the same numbers give the same trace, on every machine."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

# So many are drawn at once.
BLOCK = 256
HIGHEST = 1 << 16
_Option = TypeVar("_Option")


class Picks:
    """One choice after the other, without end.

    Whoever wants to draw the numbers in another way gives a list of them; where it ends the first,
    and plainest, of everything is picked.
    """

    def __init__(self, seed: Sequence[int] = (), numbers: Sequence[int] | None = None) -> None:
        """Draw from a seed, or take the numbers that are given."""
        self._rng = None if numbers is not None else np.random.default_rng(tuple(seed))
        self._numbers = iter(numbers or ())

    def one(self, options: Sequence[_Option]) -> _Option:
        """One of several."""
        return options[self._next() % len(options)]

    def below(self, count: int) -> int:
        """A whole number from 0 up to, not including, `count`."""
        return self._next() % count

    def _next(self) -> int:
        for number in self._numbers:
            return number
        if self._rng is None:
            return 0
        self._numbers = iter(self._rng.integers(0, HIGHEST, BLOCK).tolist())
        return next(self._numbers)
