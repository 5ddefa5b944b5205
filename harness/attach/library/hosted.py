"""A C library in a worker process of its own: everything but what is said of its role."""

from __future__ import annotations

import os
import sys
import tempfile
from abc import abstractmethod
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import orjson

from harness.attach.answers import rows_fault
from harness.attach.base import AttachError, LinkFault
from harness.attach.faults import end_of
from harness.attach.library.elf import library_of
from harness.attach.library.layout import HEADER, PLACES, Layout
from harness.attach.library.limits import WorkerLimits
from harness.attach.library.memory import SharedMemory
from harness.attach.library.sanitizer import (
    is_watched,
    sanitizer_environment,
    told_by_sanitizer,
)
from harness.attach.library.stamps import Clock
from harness.attach.process import NoAnswer, Process
from harness.attach.program import Program

WORKER = Path(__file__).parent / "worker.py"
# An orphaned worker ends itself this long after the harness would have ended it.
ALARM_LATER_S = 5.0
LONGEST_ALARM_S = 1e6
CLOCK_VARIABLE = "FULLPROOF_WORKER_CLOCK_MS"
# The counter begins at 0 again ten seconds after the stamp 0: most cases have a timer running then.
START_MS = (1 << 32) - 10_000


def library_path(spec: str, rest: str, role: str = "controller") -> Path:
    """The library that is named; raises `AttachError` where none is, or none can be."""
    if not rest:
        raise AttachError(f"{spec!r} names no library", hint=f"write lib:./lib{role}.so")
    if os.name != "posix":
        raise AttachError("libraries can be attached on Linux and macOS only")
    return Path(rest).expanduser().absolute()


class LibraryProgram(Program):
    """A library in a worker process, which a crash of the library ends.

    Attributes:
        prefix: how the names of its functions begin.
    """

    prefix = "fullproof_"
    _memory: SharedMemory
    _layout: Layout | None

    def __init__(self, spec: str, library: Path, limit_s: float) -> None:
        self._limits = WorkerLimits.from_environment()
        self._start_ms = _start_ms()
        self._library = library
        needed = library_of(library).needed
        memory_mb = self._limits.memory_mb
        self._environment = _without_python(os.environ) | sanitizer_environment(
            needed, memory_mb, library=library
        )
        self._watched = is_watched(needed)
        self._clock = Clock(0)
        self._doing = "hello"
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        command = [sys.executable, "-S", "-P", "-s", str(WORKER), self._plan(limit_s)]
        super().__init__(spec, command, limit_s)

    def power_cycle(self) -> None:
        """Let it lose its power; see the base class."""
        self._doing = "power_cycle"
        super().power_cycle()

    def restart(self) -> None:
        """Kill the worker, and throw away the folder in which it ran."""
        super().restart()
        if self._folder is not None:
            self._folder.cleanup()
        self._folder = None

    def _begin_with(self, record: bytes, **members: Any) -> None:
        """Say `start` with settings as the bytes of their structure."""
        self._memory.put_settings(record)
        self._clock = Clock(self._start_ms)
        self._doing = "start"
        self._start(**members)

    @abstractmethod
    def _put(self, part: Any) -> bytes:
        """Lay samples out in the shared memory; returns the message that tells of them."""

    @abstractmethod
    def _right(self, block: npt.NDArray[Any]) -> dict[str, npt.NDArray[np.bool_]]:
        """Of each output, where it can be what it is meant to be."""

    @abstractmethod
    def _should_be(self, name: str) -> str:
        """What an output must be."""

    @abstractmethod
    def _told(self) -> dict[str, Any]:
        """What the worker is told of the role; see `Worker`."""

    def _stepped(self, trace: Any, rows: int) -> npt.NDArray[Any]:
        """Send samples, so many at a time, and take the answers; raises `LinkFault`."""
        self._started()
        size = len(trace)
        if not size:
            raise ValueError("a run needs at least one sample")
        assert self._layout is not None
        answers = np.empty(size, dtype=self._layout.output)
        self._doing = "run"
        for first in range(0, size, rows):
            part = trace.part(first, first + rows)
            asked = self._put(part)
            try:
                self._ask(asked)
                block = self._memory.outputs(self._layout, len(part))
                answers[first : first + len(part)] = block
                self._check(block)
            except LinkFault as fault:
                fault.index = first + (self._memory.done if fault.index < 0 else fault.index)
                if fault.index < size:
                    place = fault.index - first
                    sample = self._memory.sample_text(self._layout, place)
                    fault.sent = f"sample {fault.index}: {sample}"
                self._throw_away(fault)
                raise
        return answers

    def _begin(self) -> Process:
        self._doing = "hello"
        self._folder = tempfile.TemporaryDirectory(
            prefix="fullproof-worker-", ignore_cleanup_errors=True
        )
        return Process(
            self._command,
            environment=self._environment | {"TMPDIR": self._folder.name},
            folder=self._folder.name,
            descriptors=(self._memory.descriptor,),
            most_printed=self._limits.in_bytes("output_mb"),
        )

    def _plan(self, limit_s: float) -> str:
        """What the worker is told."""
        import _cffi_backend

        plan = {
            "library": str(self._library),
            "header": str(HEADER),
            "packages": str(Path(_cffi_backend.__file__).parent),
            "memory": self._memory.descriptor,
            "size": PLACES.size,
            "settings": PLACES.settings,
            "samples": PLACES.samples,
            "outputs": PLACES.outputs,
            # The address sanitizer maps terabytes: it is told its limit in another way.
            "memory_limit": None if self._watched else self._limits.in_bytes("memory_mb"),
            "file_limit": self._limits.in_bytes("file_mb"),
            "alarm_s": min(limit_s, LONGEST_ALARM_S) + ALARM_LATER_S,
        }
        return orjson.dumps(plan | self._told()).decode()

    def _refuse_unusable(self, answer: Mapping[str, Any]) -> None:
        """Raise `AttachError` where the worker could not load the library."""
        if "unusable" in answer:
            self.restart()
            raise AttachError(answer["unusable"], file=self._library, hint=answer["hint"])

    def _heard(self, line: bytes) -> None:
        """Nothing to listen to: the worker is ours, and so is what it says."""

    def _silent(self, silence: NoAnswer) -> LinkFault:
        where = self._where()
        if silence.reason == "noisy":
            limit = f"{self._limits.output_mb} MB"
            return LinkFault(
                "LINK.answers",
                observed=f"more than {limit} printed",
                expected=f"at most {limit} printed in one answer",
                sentence=f"The {self.role} printed more than {limit} {where} and was ended.",
            )
        if silence.reason == "exited" and silence.status is not None:
            observed = end_of(silence.status)
            was = "was " if silence.status < 0 else ""
            return LinkFault(
                "LINK.stays-alive",
                observed=observed,
                expected="comes back from every call",
                sentence=f"The {self.role}'s process {was}{observed} {where}.",
            )
        return LinkFault(
            "LINK.answers",
            observed=f"no answer within {self.limit_s:g} s",
            expected=f"an answer within {self.limit_s:g} s",
            sentence=f"The {self.role} did not come back within {self.limit_s:g} s {where}.",
        )

    def _where(self) -> str:
        if self._doing == "hello":
            return "while the library was loaded and asked who it is"
        return f"in {self.prefix}{'step' if self._doing == 'run' else self._doing}"

    def _throw_away(self, fault: LinkFault) -> None:
        super()._throw_away(fault)
        told, memory_mb = told_by_sanitizer(fault.stderr), self._limits.memory_mb
        if told:
            fault.observed = f"{fault.observed}; {told}"
            fault.sentence = f"{fault.sentence} The sanitizer says: {told}"
        elif fault.observed.startswith("killed") and memory_mb is not None:
            fault.sentence = f"{fault.sentence} Its memory is limited to {memory_mb} MB."

    def _check(self, block: npt.NDArray[Any]) -> None:
        """Raise `LINK.rows` where an answer cannot be what it is meant to be."""
        right = self._right(block)
        wrong = {name: int(np.argmin(fine)) for name, fine in right.items() if not fine.all()}
        if not wrong:
            return
        name = min(wrong, key=lambda one: wrong[one])
        value = block[name][wrong[name]].item()
        expected = self._should_be(name)
        raise rows_fault(
            f"{name} {value}",
            f"{name} as {expected}",
            f"An answer has {name} {value}; it must be {expected}. "
            f"{self.prefix}step writes every output that the description names, at every sample.",
            index=wrong[name],
        )


def single(column: npt.NDArray[np.float64]) -> Any:
    """Numbers as they are in single precision."""
    with np.errstate(over="ignore"):
        return column.astype(np.float32).astype(np.float64)


def single_settings(values: Mapping[str, Any]) -> dict[str, Any]:
    """Settings by name as they are in single precision; what is no such number stays as it is."""

    def rounded(value: Any) -> Any:
        if isinstance(value, float):
            return float(np.float32(value))
        return tuple(map(rounded, value)) if isinstance(value, tuple) else value

    return {name: rounded(value) for name, value in values.items()}


def _start_ms() -> int:
    text = os.environ.get(CLOCK_VARIABLE, str(START_MS))
    if not (text.isdecimal() and int(text) < 1 << 32):
        raise AttachError(
            f"{CLOCK_VARIABLE} is {text!r}",
            hint="it must be a whole number, 0 or greater, below 2^32",
        )
    return int(text)


def _without_python(variables: Mapping[str, str]) -> dict[str, str]:
    """Without what would make the worker's interpreter another one."""
    kept = ("PYTHONHOME",)
    return {
        name: value
        for name, value in variables.items()
        if not name.startswith("PYTHON") or name in kept
    }
