"""`python -m harness.zoo NAME` runs a faulty controller over the line protocol."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from harness.zoo.build import c_program, fault_named, python_module, source_with
from harness.zoo.fault import FaultError
from harness.zoo.faults import C_FAULTS, FAULTS

USAGE, FAILED = 2, 1


def main(arguments: list[str] | None = None) -> int:
    """Do what the command line asks for; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m harness.zoo",
        description="Faulty controllers, to see that the harness finds what is wrong with them.",
    )
    parser.add_argument("name", nargs="?", help="the fault whose controller is to run")
    parser.add_argument("--list", action="store_true", help="name every fault, and what it breaks")
    parser.add_argument("--source", action="store_true", help="print the faulty source instead")
    parser.add_argument(
        "--matrix", action="store_true", help="try every faulty controller on every vector"
    )
    given = parser.parse_args(arguments)
    if sum((given.name is not None, given.list, given.matrix)) != 1:
        parser.error("give the name of a fault, or --list, or --matrix")
    if given.list:
        return _list()
    if given.matrix:
        return _matrix()
    try:
        fault = fault_named(given.name)
        if given.source:
            print(source_with(fault), end="")
        elif fault.language == "C":
            return _run_in_c(given.name)
        else:
            python_module(fault).__dict__["main"]()
    except FaultError as error:
        print(f"python -m harness.zoo: {error}", file=sys.stderr)
        return USAGE
    return 0


def _list() -> int:
    try:
        for fault in FAULTS + C_FAULTS:
            print(f"{fault.name:<42} {fault.requirement:<26} {fault.title}")
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read has seen enough; what is still in the buffer must not fail at the exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


def _run_in_c(name: str) -> int:
    with tempfile.TemporaryDirectory() as folder:
        program = c_program(Path(folder), fault_named(name))
        return subprocess.run([program], check=False).returncode


def _matrix() -> int:
    """Print the matrix; the exit code tells whether every fault was found."""
    # A faulty controller must not wait for all of this to load.
    from harness.cases import shipped
    from harness.zoo.matrix import matrix, summary

    cases = [vector.case for vector in shipped()]
    rows = list(matrix(FAULTS, cases))
    print(summary(rows, [case.id for case in cases]))
    return 0 if all(row.killed for row in rows) else FAILED


if __name__ == "__main__":
    sys.exit(main())
