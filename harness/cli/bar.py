"""A progress bar on standard error, where that is a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def bar(total: int) -> Iterator[Callable[[str], None]]:
    """Show a bar while the block runs; what it yields is called as each part begins."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (BarColumn(), MofNCompleteColumn(), TextColumn("{task.description}", markup=False))
    with Progress(
        *columns, console=Console(stderr=True), transient=True, redirect_stdout=False
    ) as progress:
        task = progress.add_task("", total=total)
        begun = 0

        def advance(name: str) -> None:
            nonlocal begun
            progress.update(task, completed=begun, description=name)
            begun += 1

        yield advance
