"""What a process holds: children, open files, threads, memory, and what lies in its temporary folder."""

from __future__ import annotations

import gc
import os
import tempfile
import time
from pathlib import Path

from attrs import frozen

PATIENCE_S = 10.0
PAGE_BYTES = os.sysconf("SC_PAGE_SIZE")


@frozen
class Held:
    """What there is at one moment.

    Attributes:
        children: processes that this one began, dead ones that nobody has waited for included.
        strays: processes of one of our programs that belong to nobody any more.
        files: open files.
        threads: threads.
        temporary: what lies in the temporary folder.
        memory_mb: resident memory, MB.
    """

    children: int
    strays: int
    files: int
    threads: int
    temporary: int
    memory_mb: float

    @property
    def line(self) -> str:
        """All of it in one line."""
        return (
            f"{self.children} children, {self.strays} strays, {self.files} files, {self.threads} "
            f"threads, {self.temporary} temporary, {self.memory_mb:.1f} MB"
        )


def held(programs: Path, *, usual: int = 0, patience_s: float = PATIENCE_S) -> Held:
    """What this process holds now; those that are being ended get a moment for it.

    Args:
        programs: the folder of the programs that are attached.
        usual: how many children it has anyhow; where there are more, they get a moment to end.
        patience_s: how long that moment is.
    """
    gc.collect()
    deadline = time.monotonic() + patience_s
    while (found := _processes(programs)) > (usual, 0) and time.monotonic() < deadline:
        time.sleep(0.05)
    children, strays = found
    return Held(
        children=children,
        strays=strays,
        files=len(os.listdir("/proc/self/fd")),  # noqa: PTH208  it is no folder of files
        threads=len(list(Path("/proc/self/task").iterdir())),
        temporary=len(list(Path(tempfile.gettempdir()).iterdir())),
        memory_mb=int(Path("/proc/self/statm").read_text().split()[1]) * PAGE_BYTES / 1e6,
    )


def _processes(programs: Path) -> tuple[int, int]:
    """How many children there are, and how many of our programs that are no children."""
    children = strays = 0
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            state, parent = (folder / "stat").read_text().rpartition(")")[2].split()[:2]
            command = (folder / "cmdline").read_bytes()
        except OSError:
            continue
        if int(parent) == os.getpid():
            children += 1
        elif str(programs).encode() in command and state != "Z":
            strays += 1
    return children, strays
