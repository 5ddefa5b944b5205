"""An axis of a picture of a study: from 0 on where values reach near it, rooted where they spread."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, floor, isfinite, log10, sqrt

# Where the smallest value above 0 is farther below the largest, the axis is of square roots.
MOST_SPREAD = 25.0
# An axis begins at 0 unless all values are above this share of the largest.
FAR_FROM_NOTHING = 0.6
ROOM = 0.05
_STEPS = (1, 2, 5)


class Axis:
    """From values to places on a picture.

    Attributes:
        rooted: whether it is of square roots, so that the small can be told apart as well.
    """

    def __init__(
        self, values: Iterable[float], start: float, stop: float, *, rooted: bool = False
    ) -> None:
        """An axis on which all values find room.

        Args:
            values: those to be shown; what is no number is passed over.
            start: place of its low end.
            stop: place of its high end, on either side of the start.
            rooted: whether it may be of square roots.
        """
        known = [each for each in values if isfinite(each)] or [0.0]
        low, high = min(known), max(known)
        above = [each for each in known if each > 0.0]
        self.rooted = rooted and low >= 0.0 and bool(above) and high > MOST_SPREAD * min(above)
        if low >= 0.0 and (self.rooted or low < FAR_FROM_NOTHING * high or high == 0.0):
            low = 0.0
        if high <= low:
            low, high = low - 0.5 * abs(low), high + (0.5 * abs(high) or 1.0)
        room = ROOM * (high - low)
        self._low = low if low == 0.0 else low - room
        self._high = high + (2.0 * room if self.rooted else room)
        self._start, self._stop = start, stop

    def at(self, value: float) -> float:
        """Where a value is on the picture."""
        low, high, value = (self._bent(each) for each in (self._low, self._high, value))
        return self._start + (self._stop - self._start) * (value - low) / (high - low)

    def _bent(self, value: float) -> float:
        return sqrt(max(value, 0.0)) if self.rooted else value

    def ticks(self, most: int) -> list[float]:
        """Round values on it, about as many as are wanted."""
        if not self.rooted:
            return _round_values(self._low, self._high, most)
        apart = abs(self._stop - self._start) / (most + 1)
        found = [0.0]
        for power in range(floor(log10(self._high)) - 6, ceil(log10(self._high)) + 1):
            for step in _STEPS:
                value = round(step * 10.0**power, 12)
                if value <= self._high and abs(self.at(value) - self.at(found[-1])) >= apart:
                    found.append(value)
        return found


def _round_values(low: float, high: float, most: int) -> list[float]:
    step = 10.0 ** floor(log10((high - low) / most))
    step *= next(times for times in (*_STEPS, 10) if (high - low) / (times * step) <= most + 1)
    return [round(k * step, 12) + 0.0 for k in range(ceil(low / step), floor(high / step) + 1)]
