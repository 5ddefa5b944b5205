"""A C library as a controller: `lib:./libcontroller.so`, built with `fullproof.h`."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import orjson
from attrs import evolve

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.attach.answers import AnswerColumns, rows_fault
from harness.attach.base import AttachError, LinkFault
from harness.attach.faults import end_of
from harness.attach.identity import identity_from
from harness.attach.library import layout as layouts
from harness.attach.library.elf import library_of
from harness.attach.library.layout import OUTPUTS, PLACES, ROWS_A_BLOCK, Layout
from harness.attach.library.limits import WorkerLimits
from harness.attach.library.memory import SharedMemory
from harness.attach.library.sanitizer import (
    is_watched,
    sanitizer_environment,
    told_by_sanitizer,
)
from harness.attach.library.stamps import Clock, in_milliseconds
from harness.attach.process import NoAnswer, Process
from harness.attach.program import ProgramAttachment
from harness.run import FEATURES, Answers, Case, Identity, Trace

WORKER = Path(__file__).parent / "worker.py"
# An orphaned worker ends itself this long after the harness would have ended it.
ALARM_LATER_S = 5.0
LONGEST_ALARM_S = 1e6
CLOCK_VARIABLE = "FULLPROOF_WORKER_CLOCK_MS"
# The counter begins at 0 again ten seconds after the stamp 0: most cases have a timer running then.
START_MS = (1 << 32) - 10_000
_FUNCTIONS = {
    "hello": "while the library was loaded and asked who it is",
    "start": "in fullproof_start",
    "power_cycle": "in fullproof_power_cycle",
}


def open_attachment(spec: str, rest: str, limit_s: float) -> LibraryAttachment:
    """Attach the library of `lib:./libcontroller.so`.

    Raises:
        AttachError: there is no such library, or it cannot be loaded on this machine.
    """
    if not rest:
        raise AttachError(f"{spec!r} names no library", hint="write lib:./libcontroller.so")
    if os.name != "posix":
        raise AttachError("libraries can be attached on Linux and macOS only")
    return LibraryAttachment(spec, Path(rest).expanduser().absolute(), limit_s)


class LibraryAttachment(ProgramAttachment):
    """A library in a worker process, which a crash of the library ends."""

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
        self._layout: Layout | None = None
        self._outputs: tuple[str, ...] = ()
        self._memory = SharedMemory()
        self._clock = Clock(0)
        self._doing = "hello"
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        command = [sys.executable, "-S", "-P", "-s", str(WORKER), self._plan(limit_s)]
        super().__init__(spec, command, limit_s)

    def start(self, settings: Settings, soc: float) -> None:
        """A fresh controller in the same process; see the base class."""
        self.hello()
        assert self._layout is not None
        self._memory.put_settings(layouts.settings_record(self._layout, settings))
        self._clock = Clock(self._start_ms)
        self._doing = "start"
        super().start(settings, soc)

    def run(self, trace: Trace) -> Answers:
        """Send the samples, so many at a time; see the base class."""
        self._started()
        size = len(trace)
        if not size:
            raise ValueError("a run needs at least one sample")
        assert self._layout is not None
        answers = np.empty(size, dtype=self._layout.output)
        self._doing = "run"
        for first in range(0, size, ROWS_A_BLOCK):
            part = trace.part(first, first + ROWS_A_BLOCK)
            self._memory.put_samples(self._layout, part, self._clock.ticks(part.t))
            try:
                self._ask(b'"do":"run","count":%d' % len(part))
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
        return self._answers(answers)

    def power_cycle(self) -> None:
        """Let the controller lose its power; see the base class."""
        self._doing = "power_cycle"
        super().power_cycle()

    def as_given(self, case: Case) -> Case:
        """The case with stamps in milliseconds, and in single precision where the library is."""
        self.hello()
        assert self._layout is not None
        t = in_milliseconds(case.trace.t)
        columns = {"t": case.trace.t if np.array_equal(t, case.trace.t, equal_nan=True) else t}
        settings = case.settings
        if self._layout.single:
            for name in case.trace.columns[1:]:
                columns[name] = _rounded(case.trace.column(name))
            settings = _single(settings)
        elif columns["t"] is case.trace.t:
            return case
        return evolve(case, trace=evolve(case.trace, **columns), settings=settings)

    def restart(self) -> None:
        """Kill the worker, and throw away the folder in which it ran."""
        super().restart()
        if self._folder is not None:
            self._folder.cleanup()
        self._folder = None

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

        sizes = {
            real_bytes: [kind.itemsize for kind in (layout.sample, layout.output, layout.settings)]
            for real_bytes in (4, 8)
            for layout in (layouts.layout_of(real_bytes),)
        }
        plan = {
            "library": str(self._library),
            "header": str(layouts.HEADER),
            "packages": str(Path(_cffi_backend.__file__).parent),
            "memory": self._memory.descriptor,
            "size": PLACES.size,
            "settings": PLACES.settings,
            "samples": PLACES.samples,
            "outputs": PLACES.outputs,
            "magic": layouts.MAGIC,
            "version": layouts.LAYOUT,
            "sizes": {str(real_bytes): size for real_bytes, size in sizes.items()},
            # The address sanitizer maps terabytes: it is told its limit in another way.
            "memory_limit": None if self._watched else self._limits.in_bytes("memory_mb"),
            "file_limit": self._limits.in_bytes("file_mb"),
            "alarm_s": min(limit_s, LONGEST_ALARM_S) + ALARM_LATER_S,
        }
        return orjson.dumps(plan).decode()

    def _identified(self, answer: Mapping[str, Any]) -> Identity:
        if "unusable" in answer:
            self.restart()
            raise AttachError(answer["unusable"], file=self._library, hint=answer["hint"])
        self._layout = layouts.layout_of(answer["layout"][2])
        said = dict(answer)
        bits = said.pop("features", 0)
        names = [*FEATURES, *(f"bit {k}" for k in range(len(FEATURES), 32))]
        said["features"] = [name for k, name in enumerate(names) if bits >> k & 1]
        if said.pop("fixed", False):
            record = self._memory.settings(self._layout.settings.itemsize)
            said["fixed"] = layouts.settings_mapping(self._layout, record)
        given = said.get("outputs", 0)
        self._outputs = ("stage", *(n for k, n in enumerate(OUTPUTS) if given >> k & 1))
        identity = identity_from(said)
        # The same words as for a program that claims what it does not show.
        AnswerColumns(identity.features).add(list(self._outputs), [], 0)
        return identity

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
                sentence=f"The controller printed more than {limit} {where} and was ended.",
            )
        if silence.reason == "exited" and silence.status is not None:
            observed = end_of(silence.status)
            was = "was " if silence.status < 0 else ""
            return LinkFault(
                "LINK.stays-alive",
                observed=observed,
                expected="comes back from every call",
                sentence=f"The controller's process {was}{observed} {where}.",
            )
        return LinkFault(
            "LINK.answers",
            observed=f"no answer within {self.limit_s:g} s",
            expected=f"an answer within {self.limit_s:g} s",
            sentence=f"The controller did not come back within {self.limit_s:g} s {where}.",
        )

    def _where(self) -> str:
        if self._doing != "run":
            return _FUNCTIONS[self._doing]
        return "in fullproof_step"

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
        right = {name: np.isfinite(block[name]) for name in self._outputs if name in _NUMBERS}
        right["stage"] = block["stage"] < len(Stage)
        if "full_reset" in self._outputs:
            right["full_reset"] = block["full_reset"] <= 1
        wrong = {name: int(np.argmin(fine)) for name, fine in right.items() if not fine.all()}
        if not wrong:
            return
        name = min(wrong, key=lambda one: wrong[one])
        value = block[name][wrong[name]].item()
        expected = _EXPECTED.get(name, "a finite number")
        raise rows_fault(
            f"{name} {value}",
            f"{name} as {expected}",
            f"An answer has {name} {value}; it must be {expected}. "
            "fullproof_step writes every output that the description names, at every sample.",
            index=wrong[name],
        )

    def _answers(self, rows: npt.NDArray[Any]) -> Answers:
        columns: dict[str, Any] = {}
        for name in self._outputs:
            kind = np.int8 if name == "stage" else np.bool_ if name == "full_reset" else np.float64
            columns[name] = rows[name].astype(kind)
        return Answers(**columns)


_NUMBERS = ("soc", "voltage_request_v", "current_request_a")
_EXPECTED = {
    "stage": ", ".join(f"{int(stage)} ({stage.word})" for stage in Stage),
    "full_reset": "0 or 1",
}


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


def _rounded(column: np.ndarray[Any, np.dtype[np.float64]]) -> Any:
    with np.errstate(over="ignore"):
        return column.astype(np.float32).astype(np.float64)


def _single(settings: Settings) -> Settings:
    def rounded(value: Any) -> Any:
        if isinstance(value, float):
            return float(np.float32(value))
        return tuple(map(rounded, value)) if isinstance(value, tuple) else value

    return Settings.from_mapping({k: rounded(v) for k, v in settings.to_mapping().items()})
