"""The process in which an FMU is loaded: it speaks the line protocol and steps the FMU.

Its one argument is a file with the plan as JSON. What the FMU prints goes to standard error.
"""

from __future__ import annotations

import ctypes
import json
import math
import os
import resource
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from fmpy import fmi2, fmi3

# How a value of each type travels: the functions of FMI 2, those of FMI 3, and the type in C.
_TRAVELS: dict[str, tuple[str, str, Any]] = {
    "Real": ("Real", "", ctypes.c_double),
    "Integer": ("Integer", "", ctypes.c_int),
    "Float64": ("", "Float64", ctypes.c_double),
    "Float32": ("", "Float32", ctypes.c_float),
    "Int8": ("", "Int8", ctypes.c_int8),
    "UInt8": ("", "UInt8", ctypes.c_uint8),
    "Int16": ("", "Int16", ctypes.c_int16),
    "UInt16": ("", "UInt16", ctypes.c_uint16),
    "Int32": ("", "Int32", ctypes.c_int32),
    "UInt32": ("", "UInt32", ctypes.c_uint32),
    "Int64": ("", "Int64", ctypes.c_int64),
    "UInt64": ("", "UInt64", ctypes.c_uint64),
}


class FmuError(Exception):
    """The FMU did not do what it was asked to."""


class Values:
    """Variables of one type, written or read in one call."""

    def __init__(self, fmu: Any, version: int, kind: str, references: Sequence[int]) -> None:
        if kind == "Boolean":
            name, ctype = "Boolean", fmi2.fmi2Boolean if version == 2 else fmi3.fmi3Boolean
        elif kind == "Enumeration":
            name, ctype = ("Integer", ctypes.c_int) if version == 2 else ("Int64", ctypes.c_int64)
        else:
            name, ctype = _TRAVELS[kind][version - 2], _TRAVELS[kind][2]
        self.count = len(references)
        self.references = (ctypes.c_uint32 * self.count)(*references)
        self.values = (ctype * self.count)()
        self.whole = ctype not in (ctypes.c_double, ctypes.c_float)
        self._set: Callable[..., Any] = getattr(fmu, f"fmi{version}Set{name}")
        self._get: Callable[..., Any] = getattr(fmu, f"fmi{version}Get{name}")
        self._more = () if version == 2 else (self.count,)
        self._fmu = fmu

    def write(self, values: Sequence[float]) -> None:
        """Set the variables; what is no number cannot be set where the type is whole."""
        for k, value in enumerate(values):
            self.values[k] = _whole(value) if self.whole else value
        self._set(self._fmu.component, self.references, self.count, self.values, *self._more)

    def read(self) -> list[float]:
        """Get the variables."""
        self._get(self._fmu.component, self.references, self.count, self.values, *self._more)
        return [float(value) for value in self.values]


def _whole(value: float) -> int:
    if not math.isfinite(value):
        raise FmuError("a value that is missing cannot be told to a variable of a whole type")
    return round(value)


class Group:
    """Variables of any types, in the order of the plan."""

    def __init__(self, fmu: Any, version: int, ports: Sequence[dict[str, Any]]) -> None:
        kinds = dict.fromkeys(port["kind"] for port in ports)
        self._parts = []
        for kind in kinds:
            places = [k for k, port in enumerate(ports) if port["kind"] == kind]
            references = [ports[k]["reference"] for k in places]
            self._parts.append((places, Values(fmu, version, kind, references)))
        self._size = len(ports)

    def write(self, values: Sequence[float]) -> None:
        """Set all of them."""
        for places, part in self._parts:
            part.write([values[k] for k in places])

    def read(self) -> list[float]:
        """Get all of them."""
        values = [0.0] * self._size
        for places, part in self._parts:
            for k, value in zip(places, part.read(), strict=True):
                values[k] = value
        return values


class Worker:
    """One FMU; each start begins a new instance of it."""

    def __init__(self, plan: dict[str, Any]) -> None:
        self.plan = plan
        self.fmu: Any = None
        self.clock_s = 0.0
        self.last_s: float | None = None

    def hello(self) -> dict[str, Any]:
        """Who it is, once the library is loaded."""
        try:
            self.loaded()
        except Exception as error:  # fmpy raises plain exceptions
            return {"unusable": " ".join(str(error).split())}
        answer: dict[str, Any] = self.plan["hello"]
        return answer

    def loaded(self) -> Any:
        """The FMU with its library."""
        plan = self.plan
        kind = fmi2.FMU2Slave if plan["version"] == 2 else fmi3.FMU3Slave
        return kind(
            guid=plan["token"],
            unzipDirectory=plan["folder"],
            modelIdentifier=plan["model"],
            instanceName="fullproof",
        )

    def start(self, settings: dict[str, Any], soc: float) -> dict[str, Any]:
        """A new instance with these settings and this count."""
        version = self.plan["version"]
        ours = settings | {"soc": soc}
        for name in ("plausible_v", "plausible_i"):
            ours[f"{name}_low"], ours[f"{name}_high"] = settings[name]
        values = [_set(ours[port["name"]], port) for port in self.plan["parameters"]]
        if self.fmu is not None:
            self.fmu.terminate()
            self.fmu.freeInstance()
        self.fmu = self.loaded()
        self.fmu.instantiate()
        parameters = Group(self.fmu, version, self.plan["parameters"])
        if version == 2:
            self.fmu.setupExperiment(startTime=0.0)
            parameters.write(values)
            self.fmu.enterInitializationMode()
        else:
            parameters.write(values)
            self.fmu.enterInitializationMode(startTime=0.0)
        self.fmu.exitInitializationMode()
        self.inputs = Group(self.fmu, version, self.plan["inputs"])
        self.outputs = Group(self.fmu, version, self.plan["outputs"])
        self.clock_s, self.last_s = 0.0, None
        return {"ok": True}

    def run(self, columns: Sequence[str], rows: Sequence[Sequence[float | None]]) -> dict[str, Any]:
        """One answer a row: the inputs are set, and one step leads to the stamp of the row."""
        ports = self.plan["inputs"]
        places = [columns.index(port["name"]) if port["name"] in columns else -1 for port in ports]
        answers = []
        for row in rows:
            self.inputs.write([_told(row, *each) for each in zip(places, ports, strict=True)])
            self._step(row[columns.index("t")])
            values = self.outputs.read()
            answers.append(
                [_said(*each) for each in zip(values, self.plan["outputs"], strict=True)]
            )
        return {"columns": [port["name"] for port in self.plan["outputs"]], "rows": answers}

    def _step(self, stamp_s: float | None) -> None:
        length_s: float = self.plan["first_step_s"]
        # A clock cannot go back. Where it is told the stamp, any step will do.
        if stamp_s is not None:
            if self.last_s is not None and stamp_s > self.last_s:
                length_s = stamp_s - self.last_s
            self.last_s = stamp_s
        self.fmu.doStep(self.clock_s, length_s)
        self.clock_s += length_s


def _set(value: Any, port: dict[str, Any]) -> float:
    if value is None:
        return _none(port)
    return float(port["words"][value] if isinstance(value, str) else value * port["factor"])


def _told(row: Sequence[float | None], place: int, port: dict[str, Any]) -> float:
    value = row[place] if place >= 0 else None
    return _none(port) if value is None else value * port["factor"]


def _none(port: dict[str, Any]) -> float:
    return math.nan if port["none"] is None else float(port["none"])


def _said(value: float, port: dict[str, Any]) -> object:
    if port["name"] == "stage":
        number = value / port["factor"]
        return next((w for w, of in port["words"].items() if of == number), f"{number:g}")
    if port["name"] == "full_reset":
        return value != 0.0
    return value / port["factor"] if math.isfinite(value) else None


def main() -> int:
    """Answer messages until one says stop or nobody is there any more."""
    messages, answers = os.fdopen(os.dup(0), "rb"), os.dup(1)
    os.dup2(2, 1)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))
    plan = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    worker = Worker(plan)
    for line in messages:
        message = json.loads(line)
        do = message["do"]
        if do == "stop":
            break
        try:
            if do == "hello":
                answer = worker.hello()
            elif do == "start":
                answer = worker.start(message["settings"], message["soc"])
            else:
                answer = worker.run(message["columns"], message["rows"])
        except Exception as error:  # fmpy raises plain exceptions
            answer = {"error": " ".join(str(error).split())}
        os.write(answers, json.dumps({"seq": message["seq"], **answer}).encode() + b"\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
