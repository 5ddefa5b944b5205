"""An FMU as a controller: `fmu:controller.fmu`, or `fmu:controller.fmu:mapping.toml`."""

from __future__ import annotations

import math
import os
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import orjson

from harness.attach.base import AttachError
from harness.attach.fmu.plan import FmuPlan, Port, read_plan
from harness.attach.identity import PROTOCOL
from harness.attach.library.limits import WorkerLimits
from harness.attach.process import Process
from harness.attach.program import ProgramAttachment
from harness.run import Case, Identity


def open_attachment(spec: str, rest: str, limit_s: float) -> FmuAttachment:
    """Attach the FMU of `fmu:controller.fmu`, with a mapping file after another colon or without.

    Raises:
        AttachError: there is no such FMU, it is not for this machine, or a variable is missing.
    """
    if os.name != "posix":
        raise AttachError("FMUs can be attached on Linux and macOS only")
    file, colon, mapping = rest.partition(".fmu:")
    if not rest:
        raise AttachError(f"{spec!r} names no FMU", hint="write fmu:controller.fmu")
    path = Path(file + (".fmu" if colon else "")).expanduser().absolute()
    plan = read_plan(path, Path(mapping).expanduser() if mapping else None)
    return FmuAttachment(spec, plan, limit_s)


class FmuAttachment(ProgramAttachment):
    """An FMU in a worker process, which a crash of the FMU ends."""

    def __init__(self, spec: str, plan: FmuPlan, limit_s: float) -> None:
        self._plan = plan
        self._limits = WorkerLimits.from_environment()
        self._folder = tempfile.TemporaryDirectory(prefix="fullproof-fmu-")
        folder = Path(self._folder.name)
        unpacked = folder / "unpacked"
        from fmpy import extract

        extract(str(plan.path), str(unpacked))
        work = folder / "plan.json"
        work.write_bytes(orjson.dumps(_work(plan, unpacked)))
        super().__init__(
            spec, [sys.executable, "-m", "harness.attach.fmu.worker", str(work)], limit_s
        )

    def cannot_be_told(self, case: Case) -> str:
        """Stamps that its clock cannot follow, among others; see the base class."""
        reason = super().cannot_be_told(case)
        if reason or self._plan.is_told_the_stamp:
            return reason
        t = case.trace.t
        if np.isfinite(t).all() and (np.diff(t) > 0.0).all():
            return ""
        return "the FMU has no input for the stamp, and its own clock only goes on"

    def _identified(self, answer: Mapping[str, Any]) -> Identity:
        reason = answer.get("unusable")
        if reason is not None:
            self.restart()
            raise AttachError(f"{self._plan.path}: the FMU cannot be loaded: {reason}")
        return super()._identified(answer)

    def _begin(self) -> Process:
        return Process(self._command, most_printed=self._limits.in_bytes("output_mb"))


def _work(plan: FmuPlan, folder: Path) -> dict[str, Any]:
    """The plan as the worker reads it."""
    hello = {
        "protocol": PROTOCOL,
        "name": plan.name,
        "version": plan.release,
        "language": plan.tool,
        "features": plan.features,
        "fixed": None if plan.fixed is None else plan.fixed.to_mapping(),
    }
    return {
        "folder": str(folder),
        "version": plan.version,
        "token": plan.token,
        "model": plan.model,
        "inputs": [_port(port) for port in plan.inputs],
        "parameters": [_port(port) for port in plan.parameters],
        "outputs": [_port(port) for port in plan.outputs],
        "first_step_s": plan.first_step_s,
        "hello": hello,
    }


def _port(port: Port) -> dict[str, Any]:
    wire = port.wire
    return {
        "name": wire.name,
        "reference": port.reference,
        "kind": port.kind,
        "factor": wire.factor,
        "words": dict(wire.words),
        "none": _or_none(wire.none),
    }


def _or_none(value: float) -> float | None:
    return value if math.isfinite(value) else None
