"""The command line as a user has it: what it is called with, and how it ends."""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Callable
from pathlib import Path

from attrs import frozen

ROOT = Path(__file__).resolve().parents[2]


@frozen
class Ended:
    """How a command ended."""

    code: int
    out: str
    err: str


Fullproof = Callable[..., Ended]


def zoo(name: str) -> str:
    """A faulty controller of the zoo, as it is attached."""
    return "exec:" + shlex.join([sys.executable, "-m", "harness.zoo", name])


def saboteur(name: str) -> str:
    """A program that breaks the line protocol, as it is attached."""
    return "exec:" + shlex.join([sys.executable, "-m", "harness.zoo.saboteurs", name])


def environment(**changes: str) -> dict[str, str]:
    """What the commands find around them, whatever the tests were started in."""
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "TMPDIR") if name in os.environ}
    return kept | {"PYTHONPATH": str(ROOT), "LANG": "C.UTF-8", "COLUMNS": "80"} | changes
