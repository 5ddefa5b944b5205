"""Memory that the harness and a worker share, so that rows need not be written out and read."""

from __future__ import annotations

import fcntl
import mmap
import os
import tempfile
import weakref
from typing import Any

import numpy as np
import numpy.typing as npt

from harness.attach.library.layout import PLACES, ROWS_A_BLOCK, VALID, Layout
from harness.run import Floats, Trace

READINGS = tuple(name for name in VALID if name != "t")
# What no controller can have meant: NaN for a number, and no stage.
UNWRITTEN = 0xFF


class SharedMemory:
    """The memory, seen by the layout that the library turns out to have.

    Attributes:
        descriptor: the open file that a worker maps.
    """

    def __init__(self) -> None:
        self.descriptor = _file()
        self._map = mmap.mmap(self.descriptor, PLACES.size)
        self._bytes = np.frombuffer(self._map, dtype=np.uint8)
        weakref.finalize(self, os.close, self.descriptor)

    @property
    def done(self) -> int:
        """How many samples of the last block are answered."""
        count: int = self._bytes[:4].view(np.uint32)[0].item()
        return min(count, ROWS_A_BLOCK)

    def put_settings(self, record: bytes) -> None:
        """Lay out the settings."""
        self._map[PLACES.settings : PLACES.settings + len(record)] = record

    def settings(self, size: int) -> bytes:
        """The settings that a worker has laid out."""
        return self._map[PLACES.settings : PLACES.settings + size]

    def put_samples(self, layout: Layout, trace: Trace, ticks: npt.NDArray[np.uint32]) -> None:
        """Lay out samples, and make every answer one that nobody has written."""
        size = len(trace)
        samples = self._rows(PLACES.samples, layout.sample, size)
        samples["time_ms"] = ticks
        valid = np.isfinite(trace.t).astype(np.uint32)
        for name in READINGS:
            column = _column(trace, name)
            if column is None:
                samples[name] = np.nan
                continue
            samples[name] = column
            there = np.isfinite(column)
            if there.all():
                valid |= np.uint32(VALID[name])
            else:
                samples[name][~there] = np.nan
                valid |= there * np.uint32(VALID[name])
        samples["valid"] = valid
        start = PLACES.outputs
        self._bytes[start : start + size * layout.output.itemsize] = UNWRITTEN
        self._bytes[:4] = 0

    def outputs(self, layout: Layout, size: int) -> npt.NDArray[Any]:
        """The answers as they stand there."""
        return self._rows(PLACES.outputs, layout.output, size)

    def sample_text(self, layout: Layout, index: int) -> str:
        """One sample as it was sent, for people."""
        sample = self._rows(PLACES.samples, layout.sample, ROWS_A_BLOCK)[index]
        valid = int(sample["valid"])
        said = [f"time_ms {sample['time_ms'] if valid & VALID['t'] else 'missing'}"]
        for name in READINGS:
            value = f"{sample[name]:.9g}" if valid & VALID[name] else "missing"
            said.append(f"{name} {value}")
        return ", ".join(said)

    def _rows(self, start: int, kind: np.dtype[Any], size: int) -> npt.NDArray[Any]:
        return self._bytes[start : start + size * kind.itemsize].view(kind)


def _column(trace: Trace, name: str) -> Floats | None:
    column: Floats | None = getattr(trace, name)
    return column


def _file() -> int:
    if not hasattr(os, "memfd_create"):
        with tempfile.TemporaryFile() as file:
            file.truncate(PLACES.size)
            return os.dup(file.fileno())
    descriptor = os.memfd_create("fullproof-rows", os.MFD_CLOEXEC | os.MFD_ALLOW_SEALING)
    os.ftruncate(descriptor, PLACES.size)
    # Whoever makes it shorter would end everybody who looks at it, the harness too.
    fcntl.fcntl(descriptor, fcntl.F_ADD_SEALS, fcntl.F_SEAL_SHRINK | fcntl.F_SEAL_GROW)
    return descriptor
