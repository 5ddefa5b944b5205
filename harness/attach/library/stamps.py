"""Seconds of a trace become the milliseconds of a 32-bit counter."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from harness.run import Floats

Ticks = npt.NDArray[np.uint32]

COUNTER = 1 << 32
# A counter of milliseconds tells no step from one that is 2^32 ms longer: only steps shorter than
# half of that are what they look like.
LONGEST_STEP_MS = (1 << 31) - 1
_EXACT_MS = float(1 << 53)


def in_milliseconds(t: Floats) -> Floats:
    """The stamps as they are sent, in s: rounded to the millisecond. NaN stays NaN."""
    with np.errstate(over="ignore"):
        rounded: Floats = np.rint(t * 1e3) / 1e3
    return np.where(np.isfinite(rounded), rounded, t)


class Clock:
    """The counter of one controller, from its start on.

    A step of 2^31 ms or more, forward or backward, is sent as one of 2^31 - 1 ms in the same
    direction: a gap stays a gap, and a step back a step back. Stamps that return from such a step
    return to where they were.
    """

    def __init__(self, start_ms: int) -> None:
        """Begin; a stamp of 0 s is sent as `start_ms`."""
        self._start = start_ms
        self._shift = 0
        self._last: int | None = None

    def ticks(self, t: Floats) -> Ticks:
        """The counter at each of these stamps, s; 0 where a stamp is missing."""
        finite = np.isfinite(t)
        if finite.all():
            return self._ticks(t)
        ticks = np.zeros(len(t), dtype=np.uint32)
        ticks[finite] = self._ticks(t[finite])
        return ticks

    def _ticks(self, t: Floats) -> Ticks:
        if not len(t):
            return np.zeros(0, dtype=np.uint32)
        with np.errstate(over="ignore"):
            ms = np.rint(t * 1e3)
        last = int(ms[0]) if self._last is None and np.isfinite(ms[0]) else self._last
        exact = last is not None and abs(last) < _EXACT_MS and np.abs(ms).max() < _EXACT_MS
        if not exact or np.abs(np.diff(ms, prepend=float(last or 0))).max() > LONGEST_STEP_MS:
            return np.array([self._tick(stamp) for stamp in t.tolist()], dtype=np.uint32)
        whole = ms.astype(np.int64)
        self._last = int(whole[-1])
        counter: Ticks = (whole + (self._start + self._shift) % COUNTER).astype(np.uint32)
        return counter

    def _tick(self, stamp_s: float) -> int:
        large = abs(stamp_s) > _EXACT_MS
        ms = int(stamp_s) * 1000 if large else round(stamp_s * 1e3)
        if self._last is not None:
            step = ms - self._last
            if abs(step) > LONGEST_STEP_MS:
                sent = step - self._shift
                returns = abs(sent) <= LONGEST_STEP_MS and sent * step > 0
                longest = LONGEST_STEP_MS if step > 0 else -LONGEST_STEP_MS
                self._shift = 0 if returns else self._shift + longest - step
        self._last = ms
        return (ms + self._start + self._shift) % COUNTER
