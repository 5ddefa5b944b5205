"""Compile functions to machine code, and keep that code only as long as its sources stand.

numba keeps machine code by the time stamp of one file and does not see that a function in another
file has changed. So the code of a kernel is kept in a folder named by a hash of every source file
that goes into it.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar

import numba
import numpy as np

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


def kernel(*sources: ModuleType | str | Path) -> Callable[[Compiled], Compiled]:
    """Compile a function that Python calls; it runs without the interpreter's lock.

    Args:
        sources: every module or file whose code goes into the machine code, the kernel's own too.
    """
    files = [Path(str(s.__file__)) if isinstance(s, ModuleType) else Path(s) for s in sources]

    def compiled(function: Compiled) -> Compiled:
        folder = _kept_in(files)
        config: Any = numba.config
        before = config.CACHE_DIR
        try:
            if folder is not None:
                config.CACHE_DIR = str(folder)
            made: Compiled = _njit(error_model="numpy", nogil=True, cache=folder is not None)(
                function
            )
        finally:
            config.CACHE_DIR = before
        return made

    return compiled


def _kept_in(files: list[Path]) -> Path | None:
    """Where the machine code of exactly these sources is kept; None if it cannot be."""
    digest = hashlib.sha256(f"{numba.__version__} {np.__version__}".encode())
    for file in files:
        digest.update(file.read_bytes())
    home = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    folder = home / "fullproof" / "compiled" / digest.hexdigest()[:16]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return None
    return folder if os.access(folder, os.W_OK) else None
