"""Where machine code is kept, so that it is never older than any source that goes into it.

numba keeps machine code by the time stamp of one file and does not see that a function in another
file has changed. So the code is kept in a folder named by a hash of every source that goes into it.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numba
import numpy as np


def kept_in(files: Iterable[Path], more: bytes = b"") -> Path | None:
    """The folder for the machine code of exactly these sources; None if it cannot be made.

    Args:
        files: every module whose code goes into it.
        more: what else does.
    """
    digest = hashlib.sha256(f"{numba.__version__} {np.__version__}".encode())
    for file in files:
        digest.update(file.read_bytes())
    digest.update(more)
    home = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    folder = home / "fullproof" / "compiled" / digest.hexdigest()[:16]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return None
    return folder if os.access(folder, os.W_OK) else None


@contextmanager
def keeping(folder: Path | None) -> Iterator[None]:
    """What is decorated with `cache=True` in here is kept in that folder."""
    config: Any = numba.config
    before = config.CACHE_DIR
    try:
        if folder is not None:
            config.CACHE_DIR = str(folder)
        yield
    finally:
        config.CACHE_DIR = before
