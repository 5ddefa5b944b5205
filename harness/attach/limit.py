"""Cut off a call in this process that takes too long."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

# Code under test may catch what it is cut off with; it is then cut off again, this often.
AGAIN_S = 0.1


class TimedOut(BaseException):
    """The time is over. Not an `Exception`, so that code under test hardly catches it."""


@contextmanager
def time_limit(limit_s: float) -> Iterator[None]:
    """Raise `TimedOut` in the body after `limit_s` s of the wall clock, and after it if need be.

    Only Python code in the main thread, on a system with interval timers, can be cut off;
    elsewhere there is no limit.
    """
    if (
        not hasattr(signal, "setitimer")
        or threading.current_thread() is not threading.main_thread()
    ):
        yield
        return
    armed, over = True, False

    def cut(_: int, __: FrameType | None) -> None:
        nonlocal over
        over = True
        if armed:
            raise TimedOut

    before = signal.signal(signal.SIGALRM, cut)
    timer_before = signal.setitimer(signal.ITIMER_REAL, limit_s, AGAIN_S)
    try:
        try:
            yield
        finally:
            armed = False
    finally:
        signal.setitimer(signal.ITIMER_REAL, *timer_before)
        signal.signal(signal.SIGALRM, before)
    if over:
        raise TimedOut
