"""An interruption that leaves a result behind: the case at hand is finished, then no more begin."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from types import TracebackType
from typing import Self, overload

from harness.interruption import Listening
from harness.run import Case


class Interruptible(Sequence[Case]):
    """Cases that come to an end early when the user interrupts; as a context manager it listens.

    The first interruption ends the sequence, the second one ends the program at once.
    """

    def __init__(self, cases: Sequence[Case], told: Callable[[], None]) -> None:
        """Cases, and what is called at the first interruption."""
        self._cases = cases
        self._listening = Listening(told)

    @property
    def interrupted(self) -> bool:
        """Whether it ended early."""
        return self._listening.interrupted

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
        self._listening.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self._listening.__exit__(kind, error, traceback)
