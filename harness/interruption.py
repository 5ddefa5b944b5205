"""The first interruption by the user is noted, and whoever is at work looks up and stops."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable
from types import FrameType, TracebackType
from typing import Any, Self


class Listening:
    """Notes the first interruption by the user; the second one ends the program at once.

    Attributes:
        interrupted: whether there was one.
    """

    def __init__(self, told: Callable[[], None] = lambda: None) -> None:
        """What is called at the first interruption."""
        self.interrupted = False
        self._told = told
        self._before: Any = None
        # Only there can a program listen; elsewhere whoever began the thread has to.
        self._listens = threading.current_thread() is threading.main_thread()

    def __enter__(self) -> Self:
        if self._listens:
            self._before = signal.signal(signal.SIGINT, self._interrupt)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        if self._listens:
            signal.signal(signal.SIGINT, self._before)

    def _interrupt(self, number: int, frame: FrameType | None) -> None:
        if self.interrupted:
            signal.default_int_handler(number, frame)
        self.interrupted = True
        self._told()
