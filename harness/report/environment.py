"""Where and how a result was made: what someone needs to make it once more."""

from __future__ import annotations

import platform
import shlex
from collections.abc import Sequence
from datetime import UTC, datetime

from attrs import frozen

from harness.version import VERSION

# The packages, apart from the project, that a result can depend on.
LIBRARIES = ("numpy", "numba", "attrs")


@frozen
class Environment:
    """Where and how a result was made.

    Attributes:
        command: the command line, as it can be typed again; empty where there was none.
        ended: when the result was there, in UTC, as in ISO 8601.
        python: implementation and version of Python.
        platform: operating system and machine.
        packages: version of each package that the result can depend on, by name.
    """

    command: str
    ended: str
    python: str
    platform: str
    packages: dict[str, str]


def environment(arguments: Sequence[str] = ()) -> Environment:
    """The present environment.

    Args:
        arguments: the words of the command line behind the program's name.
    """
    return Environment(
        command=shlex.join(["fullproof", *arguments]) if arguments else "",
        ended=datetime.now(UTC).isoformat(timespec="seconds"),
        python=f"{platform.python_implementation()} {platform.python_version()}",
        platform=platform.platform(),
        packages={"fullproof": VERSION} | {name: _version(name) for name in LIBRARIES},
    )


def _version(package: str) -> str:
    # Slow to load, and only asked where a result is made.
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version(package)
    except PackageNotFoundError:
        return "not installed"
