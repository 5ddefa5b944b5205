"""A progress bar on standard error, where that is a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def bar(total: int) -> Iterator[Callable[[str], None]]:
    """Show a bar while the block runs; what it yields is called as each part begins."""
    with counting_bar(total) as tell:
        begun = 0

        def advance(name: str) -> None:
            nonlocal begun
            tell(begun, name)
            begun += 1

        yield advance


@contextmanager
def counting_bar(total: int) -> Iterator[Callable[[int, str], None]]:
    """Show a bar while the block runs; what it yields is called with how many parts are done."""
    if not sys.stderr.isatty():
        yield lambda _, __: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (BarColumn(), MofNCompleteColumn(), TextColumn("{task.description}", markup=False))
    with Progress(
        *columns, console=Console(stderr=True), transient=True, redirect_stdout=False
    ) as progress:
        task = progress.add_task("", total=total)
        yield lambda done, text: progress.update(task, completed=done, description=text)
