"""An interruption that leaves a result behind: the case at hand is finished, then no more begin."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from types import TracebackType
from typing import Generic, Self, TypeVar, overload

import click

from harness.interruption import Listening

INTERRUPTED = "interrupted by the user"
FIRST_FINDING = "at the first finding, as asked"
_Case = TypeVar("_Case")


def tell_interrupted() -> None:
    """Say on standard error that the first interruption was heard."""
    # What a class under test prints meanwhile is caught, and this must not be.
    text = "\nStopping after this case; interrupt again to stop at once."
    click.echo(text, file=sys.__stderr__)


class Interruptible(Sequence[_Case], Generic[_Case]):
    """Cases that come to an end early when the user interrupts; as a context manager it listens.

    The first interruption ends the sequence, the second one ends the program at once.
    """

    def __init__(self, cases: Sequence[_Case], told: Callable[[], None]) -> None:
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
    def __getitem__(self, index: int) -> _Case: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[_Case]: ...
    def __getitem__(self, index: int | slice) -> _Case | Sequence[_Case]:
        return self._cases[index]

    def __iter__(self) -> Iterator[_Case]:
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
