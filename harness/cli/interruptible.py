"""An interruption that leaves a result behind: the case at hand is finished, then no more begin."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator, Sequence
from types import FrameType, TracebackType
from typing import Any, Self, overload

from harness.run import Case


class Interruptible(Sequence[Case]):
    """Cases that come to an end early when the user interrupts; as a context manager it listens.

    The first interruption ends the sequence, the second one ends the program at once.

    Attributes:
        interrupted: whether it ended early.
    """

    def __init__(self, cases: Sequence[Case], told: Callable[[], None]) -> None:
        """Cases, and what is called at the first interruption."""
        self._cases = cases
        self._told = told
        self._before: Any = None
        self.interrupted = False

    def __len__(self) -> int:
        return len(self._cases)

    @overload
    def __getitem__(self, index: int) -> Case: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[Case]: ...
    def __getitem__(self, index: int | slice) -> Case | Sequence[Case]:
        return self._cases[index]

    def __iter__(self) -> Iterator[Case]:
        for case in self._cases:
            if self.interrupted:
                return
            yield case

    def __enter__(self) -> Self:
        self._before = signal.signal(signal.SIGINT, self._interrupt)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        signal.signal(signal.SIGINT, self._before)

    def _interrupt(self, number: int, frame: FrameType | None) -> None:
        if self.interrupted:
            signal.default_int_handler(number, frame)
        self.interrupted = True
        self._told()
