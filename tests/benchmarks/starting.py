"""How long it takes until a command says its first word: ratios to Python with `click` alone."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable

# The least that any command in Python with options has to load.
BARE = (sys.executable, "-c", "import click")
COMMANDS = {
    "version": ("-m", "harness.cli.main", "--version"),
    "help": ("-m", "harness.cli.main", "--help"),
    "verify-help": ("-m", "harness.cli.main", "verify", "--help"),
    "settings": ("-m", "harness.cli.main", "settings"),
    "ctrl": ("-c", "import ctrl"),
    "harness": ("-c", "import harness"),
}


def started(name: str) -> Callable[[], None]:
    """What starts one of `COMMANDS` and waits for its end."""
    return _run((sys.executable, *COMMANDS[name]))


def bare() -> Callable[[], None]:
    """What starts Python with `click` alone and waits for its end."""
    return _run(BARE)


def _run(command: tuple[str, ...]) -> Callable[[], None]:
    def run() -> None:
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)

    return run
