"""`python -m harness.zoo NAME` runs a faulty controller over the line protocol."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from harness.zoo.build import c_program, python_module, source_with
from harness.zoo.fault import Fault, FaultError
from harness.zoo.faults import C_FAULTS, FAULTS
from harness.zoo.mutants import Mutant, mutants
from harness.zoo.nearby import nearby
from harness.zoo.variants import VARIANTS

USAGE = 2
# Said of a variant in place of what it breaks.
_KEEPS = "(keeps the rules)"


def main(arguments: list[str] | None = None) -> int:
    """Do what the command line asks for; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m harness.zoo",
        description="Faulty controllers, to see that the harness finds what is wrong with them.",
    )
    parser.add_argument("name", nargs="?", help="the controller that is to run")
    parser.add_argument("--list", action="store_true", help="name every fault, and what it breaks")
    parser.add_argument("--source", action="store_true", help="print the faulty source instead")
    given = parser.parse_args(arguments)
    if (given.name is not None) == given.list:
        parser.error("give the name of a fault, or --list")
    if given.list:
        return _list()
    try:
        fault = _named(given.name)
        if given.source:
            print(_source(fault), end="")
        elif isinstance(fault, Mutant):
            return _run_mutant(fault)
        elif fault.language == "C":
            return _run_in_c(fault)
        else:
            python_module(fault).__dict__["main"]()
    except FaultError as error:
        print(f"python -m harness.zoo: {error}", file=sys.stderr)
        return USAGE
    return 0


def _named(name: str) -> Fault | Mutant:
    """The fault of a name; raises `FaultError` with the nearest name where there is none."""
    by_hand = {fault.name: fault for fault in FAULTS + C_FAULTS + VARIANTS}
    if name in by_hand:
        return by_hand[name]
    made = {mutant.name: mutant for mutant in mutants()}
    if name not in made:
        raise FaultError(f"there is no fault {name!r}; {nearby(name, [*by_hand, *made])}")
    return made[name]


def _source(fault: Fault | Mutant) -> str:
    if isinstance(fault, Fault):
        return source_with(fault)
    if fault.tree is None:
        raise FaultError(
            f"{fault.name} changes no source of the reference, but a number, a table or what goes"
            f" through it: {fault.title}"
        )
    return f"{fault.code}\n"


def _list() -> int:
    try:
        for fault in FAULTS + C_FAULTS + VARIANTS:
            print(f"{fault.name:<42} {fault.requirement or _KEEPS:<26} {fault.title}")
        for mutant in mutants():
            print(f"{mutant.name:<42} {mutant.subject:<26} {mutant.title}")
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read has seen enough; what is still in the buffer must not fail at the exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


def _run_mutant(mutant: Mutant) -> int:
    from harness.zoo.mutants.serve import MutantProgram

    return MutantProgram(mutant).serve()


def _run_in_c(fault: Fault) -> int:
    with tempfile.TemporaryDirectory() as folder:
        program = c_program(Path(folder), fault)
        return subprocess.run([program], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
