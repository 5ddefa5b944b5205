"""How long has a condition held? The question that most requirements come down to, on whole arrays."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from attrs import frozen

from harness.run import Flags, Floats

Indices = npt.NDArray[np.intp]

# As in the rules: stamps in decimal fractions of a second are not exact in binary.
TIME_SLACK_S = 1e-9


@frozen(eq=False)
class Held:
    """The stretches of samples over which a condition holds without interruption.

    Attributes:
        t: time stamps of all samples, s.
        start: index of the first sample of each stretch.
        stop: index behind the last sample of each stretch.
    """

    t: Floats
    start: Indices
    stop: Indices

    @classmethod
    def of(cls, holds: Flags, t: Floats, splits: Indices) -> Held:
        """The stretches of `holds`; one that runs across a sample of `splits` begins anew there."""
        edges = np.flatnonzero(holds[1:] != holds[:-1]) + 1
        if len(holds) and holds[0]:
            edges = np.concatenate(([0], edges))
        if len(edges) % 2:
            edges = np.concatenate((edges, [len(holds)]))
        start, stop = edges[0::2], edges[1::2]
        inside = splits[(splits > 0) & (splits < len(holds))]
        inside = inside[holds[inside] & holds[inside - 1]]
        if len(inside):
            start, stop = np.union1d(start, inside), np.union1d(stop, inside)
        return cls(t, start, stop)

    def at(self, k: int) -> int:
        """The index of the stretch in which sample `k` lies; -1 if the condition is false there."""
        j = int(np.searchsorted(self.start, k, side="right")) - 1
        return j if j >= 0 and k < self.stop[j] else -1

    def held_s(self, k: int) -> float:
        """How long the condition has held at sample `k`, s; minus infinity if it is false there."""
        j = self.at(k)
        return float(self.t[k] - self.t[self.start[j]]) if j >= 0 else -np.inf

    def due(self, first: int, last: int, dwell_s: float) -> int:
        """The first sample in `first..last` at which the condition has held for `dwell_s`; or -1."""
        return next(self.each_due(first, last, dwell_s), -1)

    def each_due(self, first: int, last: int, dwell_s: float) -> Iterator[int]:
        """The same for each stretch: a decision that was missed may become due once more."""
        low = int(np.searchsorted(self.stop, first, side="right"))
        high = int(np.searchsorted(self.start, last, side="right"))
        start, stop = self.start[low:high], self.stop[low:high]
        long_enough = np.flatnonzero(self.t[stop - 1] - self.t[start] >= dwell_s - TIME_SLACK_S)
        for j in long_enough:
            begin, end = int(start[j]), min(int(stop[j]), last + 1)
            stretch = self.t[begin:end]
            k = begin + int(np.searchsorted(stretch, self.t[begin] + dwell_s - TIME_SLACK_S))
            k = max(k, first)
            if k < end:
                yield k

    def following(self, k: int, tolerance_s: float) -> int:
        """The sample of the same stretch by which a decision due at `k` must have been taken; or -1.

        It is the next one with a later stamp: a timer may be off by one interval.
        """
        j = self.at(k)
        end = int(self.stop[j])
        after = k + int(np.searchsorted(self.t[k:end], self.t[k] + tolerance_s, side="right"))
        return after if after < end else -1
