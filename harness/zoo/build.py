"""Make a faulty controller out of an example and a fault."""

from __future__ import annotations

import subprocess
from pathlib import Path
from types import ModuleType
from typing import Any

from ctrl.errors import nearest
from harness.zoo.fault import Fault, FaultError
from harness.zoo.faults import C_FAULTS, FAULTS

_FOLDER = Path(__file__).resolve().parents[1] / "examples"
EXAMPLES = {"Python": _FOLDER / "python" / "controller.py", "C": _FOLDER / "c" / "controller.c"}


def fault_named(name: str) -> Fault:
    """The fault of a name; raises `FaultError` with the nearest name where there is none."""
    by_name = {fault.name: fault for fault in FAULTS + C_FAULTS}
    if name not in by_name:
        raise FaultError(f"there is no fault {name!r}; {nearest(name, by_name)}")
    return by_name[name]


def source_with(fault: Fault) -> str:
    """The source of the example with the fault in it.

    Raises:
        FaultError: the text to replace does not occur exactly once.
    """
    source = EXAMPLES[fault.language].read_text(encoding="utf-8")
    found = source.count(fault.old)
    if found != 1:
        raise FaultError(
            f"fault {fault.name}: the text to replace occurs {found} times, not once: {fault.old!r}"
        )
    return source.replace(fault.old, fault.new)


def python_module(fault: Fault | None = None) -> ModuleType:
    """The Python example, with a fault in it or as it is, as a module of its own.

    Every call makes a new one, so that no two controllers share anything by accident.
    """
    if fault is None:
        name, source = "example", EXAMPLES["Python"].read_text(encoding="utf-8")
    else:
        name, source = fault.name, source_with(fault)
    module = ModuleType(f"zoo_{name.replace('-', '_')}")
    exec(compile(source, f"<{name}>", "exec"), module.__dict__)
    if fault is not None:
        module.__dict__["Controller"].name += f" with {name}"
    return module


def python_controller(fault: Fault | None = None) -> type[Any]:
    """The class of the Python example, with a fault in it or as it is."""
    controller: type[Any] = python_module(fault).__dict__["Controller"]
    return controller


def c_program(folder: Path, fault: Fault | None = None) -> Path:
    """Compile the C example, with a fault in it or as it is, into `folder`; returns the program.

    Raises:
        FaultError: the fault does not fit, there is no compiler, or it refuses the result.
    """
    if fault is None:
        name, source = "example", EXAMPLES["C"].read_text(encoding="utf-8")
    else:
        name, source = fault.name, source_with(fault)
    text, program = folder / f"{name}.c", folder / name
    text.write_text(source, encoding="utf-8")
    command = ["cc", "-std=c11", "-O1", "-o", str(program), str(text), "-lm"]
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        raise FaultError(f"there is no C compiler cc to make {name} with") from None
    if done.returncode != 0:
        raise FaultError(f"{name} does not compile: {done.stderr.strip()}")
    return program
