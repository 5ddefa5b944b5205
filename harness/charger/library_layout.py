"""The structures for chargers in `fullproof.h` as NumPy sees them, and a trace laid out in them."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import frozen

from ctrl.charger import CHARGER_SETTING_NAMES, ChargerSettings
from harness.attach.library.layout import PLACES, ROWS_A_BLOCK, Layout
from harness.attach.library.memory import UNWRITTEN, SharedMemory
from harness.charger.case import NO_STAGE, OWN_COLUMNS, PACK_COLUMNS, PACK_NUMBERS, ChargerTrace

MAGIC = 0x46505243
LAYOUT = 1
STRUCTURES = tuple(
    f"fullproof_{name}"
    for name in ("charger_sample", "charger_output", "charger_settings", "message")
)
# Bit k of `valid`, in a sample and in a message.
VALID = {name: 1 << k for k, name in enumerate(OWN_COLUMNS)}
MESSAGE_VALID = {name: 1 << k for k, name in enumerate(PACK_COLUMNS)}
_SPACE = PLACES.outputs - PLACES.samples
_RANGE = "plausible_v"


@frozen(eq=False)
class ChargerLayout(Layout):
    """How the structures lie in memory for one precision.

    Attributes:
        message: `fullproof_message`.
    """

    message: np.dtype[Any]

    @property
    def sizes(self) -> list[int]:
        """The sizes of the structures in the order of `STRUCTURES`."""
        kinds = (self.sample, self.output, self.settings, self.message)
        return [kind.itemsize for kind in kinds]

    def rows_a_block(self, packs: int) -> int:
        """How many samples with the messages of so many packs fit into the memory at once."""
        each = self.sample.itemsize + packs * self.message.itemsize
        return min(ROWS_A_BLOCK, _SPACE // each)


@cache
def charger_layout_of(real_bytes: int) -> ChargerLayout:
    """The layout for a `fullproof_real` of so many bytes, 4 or 8."""
    real = f"f{real_bytes}"
    sample = [("time_ms", "u4"), ("valid", "u4"), ("own_v", real), ("own_a", real)]
    output = [("set_point_v", real), ("limit_a", real), ("state", "u1"), ("reserved", "u1", (7,))]
    settings: list[Any] = [("packs", "u4"), ("reserved", "u4")]
    for name in CHARGER_SETTING_NAMES[1:]:
        settings.append((name, real, (2,)) if name == _RANGE else (name, real))
    message = [("valid", "u4"), ("stage", "u4"), *((name, real) for name in PACK_NUMBERS)]
    kinds = (np.dtype(members, align=True) for members in (sample, output, settings, message))
    return ChargerLayout(np.dtype(real), *kinds)


def charger_settings_record(layout: Layout, settings: ChargerSettings) -> bytes:
    """Settings as the bytes of `fullproof_charger_settings`."""
    record = np.zeros((), dtype=layout.settings)
    for name, value in settings.to_mapping().items():
        record[name] = value
    return record.tobytes()


def charger_settings_mapping(layout: Layout, record: bytes) -> dict[str, Any]:
    """Settings by name, from the bytes of `fullproof_charger_settings`."""
    fields = np.frombuffer(record, dtype=layout.settings)[0]
    return {name: fields[name].tolist() for name in CHARGER_SETTING_NAMES}


class ChargerMemory(SharedMemory):
    """The shared memory with samples of a charger in it; their messages come after them all."""

    _packs = 1
    _messages = PLACES.samples

    def put_heard(
        self, layout: ChargerLayout, trace: ChargerTrace, ticks: npt.NDArray[np.uint32]
    ) -> int:
        """Lay out samples and messages, and make every answer one that nobody has written.

        Returns:
            Where the messages begin, in bytes after the first sample.
        """
        size, self._packs = len(trace), trace.packs
        samples = self._rows(PLACES.samples, layout.sample, size)
        samples["time_ms"] = ticks
        samples["valid"] = np.isfinite(trace.t) * np.uint32(VALID["t"])
        for name in OWN_COLUMNS[1:]:
            samples["valid"] |= _put(samples, name, getattr(trace, name), VALID[name])
        offset = size * layout.sample.itemsize
        self._messages = PLACES.samples + offset
        messages = self._rows(self._messages, layout.message, size * trace.packs)
        told = trace.stage.reshape(-1) != NO_STAGE
        messages["stage"] = np.where(told, trace.stage.reshape(-1), 0)
        messages["valid"] = told * np.uint32(MESSAGE_VALID["stage"])
        for name in PACK_NUMBERS:
            column = getattr(trace, name).reshape(-1)
            messages["valid"] |= _put(messages, name, column, MESSAGE_VALID[name])
        start = PLACES.outputs
        self._bytes[start : start + size * layout.output.itemsize] = UNWRITTEN
        self._bytes[:4] = 0
        return offset

    def sample_text(self, layout: Layout, index: int) -> str:
        """One sample and its messages as they were sent, for people."""
        assert isinstance(layout, ChargerLayout)
        sample = self._rows(PLACES.samples, layout.sample, index + 1)[index]
        time = sample["time_ms"] if int(sample["valid"]) & VALID["t"] else "missing"
        said = [f"time_ms {time}", *_texts(sample, VALID, OWN_COLUMNS[1:], "")]
        first = index * self._packs
        messages = self._rows(self._messages, layout.message, first + self._packs)[first:]
        for p, message in enumerate(messages, 1):
            said += _texts(message, MESSAGE_VALID, PACK_NUMBERS, f"_{p}")
        return ", ".join(said)


def _put(rows: npt.NDArray[Any], name: str, column: Any, bit: int) -> npt.NDArray[np.uint32]:
    """Lay out one column; returns the bit of each row that has it."""
    there = np.isfinite(column)
    with np.errstate(over="ignore"):
        rows[name] = np.where(there, column, np.nan)
    return np.where(there, np.uint32(bit), np.uint32(0))


def _texts(row: Any, bits: dict[str, int], names: tuple[str, ...], suffix: str) -> list[str]:
    valid = int(row["valid"])
    return [
        f"{name}{suffix} {f'{row[name]:.9g}' if valid & bits[name] else 'missing'}"
        for name in names
    ]
