"""Compile functions to machine code, and keep that code only as long as its sources stand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar

import numba

from ctrl.kept_code import keeping, kept_in

Compiled = TypeVar("Compiled", bound=Callable[..., Any])

_njit: Any = numba.njit
# Callers hold the arrays while these functions run: counting references to them, which costs as
# much as a third of a step, is left out. Such functions cannot make arrays.
_UNCOUNTED = {"_nrt": False}


def part(function: Compiled) -> Compiled:
    """Compile a function that is woven into the kernels that call it; nothing of it is kept."""
    woven: Compiled = _njit(error_model="numpy", forceinline=True, **_UNCOUNTED)(function)
    return woven


def aside(function: Compiled) -> Compiled:
    """Compile a function that kernels seldom call: it stays one piece of code, called as such."""
    called: Compiled = _njit(error_model="numpy", nogil=True, **_UNCOUNTED)(function)
    return called


def unkept(function: Compiled) -> Compiled:
    """Compile a function that Python calls, for this process alone; else as `kernel`."""
    made: Compiled = _njit(error_model="numpy", nogil=True)(function)
    return made


def kernel(*sources: ModuleType | str | Path, more: bytes = b"") -> Callable[[Compiled], Compiled]:
    """Compile a function that Python calls; it runs without the interpreter's lock.

    Args:
        sources: every module or file whose code goes into the machine code, the kernel's own too.
        more: what else goes into it.
    """
    files = [Path(str(s.__file__)) if isinstance(s, ModuleType) else Path(s) for s in sources]

    def compiled(function: Compiled) -> Compiled:
        folder = kept_in(files, more)
        with keeping(folder):
            made: Compiled = _njit(error_model="numpy", nogil=True, cache=folder is not None)(
                function
            )
        return made

    return compiled
