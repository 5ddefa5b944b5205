"""The shipped example of a role, made ready for use where the user names none."""

from __future__ import annotations

import hashlib
import os
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from attrs import frozen

_FOLDER = Path(__file__).resolve().parents[1] / "examples"
FLAGS = ("-std=c11", "-O2", "-lm")
COMPILING_S = 60


@frozen
class Example:
    """An example that can be attached.

    Attributes:
        spec: how it is named.
        told: where it comes from, for the user.
    """

    spec: str
    told: str


def example(role: str = "controller") -> Example:
    """The example of a role in C, compiled, or the one in Python where that is not possible."""
    compiler = shutil.which(os.environ.get("CC", "cc"))
    if compiler is None:
        return _python(role, f"there is no C compiler {os.environ.get('CC', 'cc')!r}")
    try:
        program = _compiled(compiler, _FOLDER / "c" / f"{role}.c")
    except (OSError, subprocess.SubprocessError) as error:
        return _python(role, f"{compiler} could not compile the one in C: {_why(error)}")
    return Example(
        f"exec:{shlex.quote(str(program))}", f"the example in C, compiled with {compiler}"
    )


def _python(role: str, reason: str) -> Example:
    command = shlex.join([sys.executable, str(_FOLDER / "python" / f"{role}.py")])
    return Example(f"exec:{command}", f"the example in Python, because {reason}")


def _compiled(compiler: str, source: Path) -> Path:
    """The program; compiled only where this source was not compiled before.

    Raises:
        OSError, subprocess.SubprocessError: it cannot be compiled.
    """
    key = hashlib.sha256(source.read_bytes() + repr((compiler, FLAGS)).encode()).hexdigest()
    folder = _kept_folder()
    program = folder / f"example-{key[:16]}"
    if not os.access(program, os.X_OK):
        fresh = folder / f"{program.name}.{os.getpid()}"
        subprocess.run(
            [compiler, str(source), "-o", str(fresh), *FLAGS],
            check=True,
            capture_output=True,
            text=True,
            timeout=COMPILING_S,
        )
        # Another run may do the same at this moment.
        fresh.replace(program)
    return program


def _kept_folder() -> Path:
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    folder = Path(base) / "fullproof"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return Path(tempfile.mkdtemp(prefix="fullproof-"))
    if os.access(folder, os.W_OK):
        return folder
    return Path(tempfile.mkdtemp(prefix="fullproof-"))


def _why(error: Exception) -> str:
    said = getattr(error, "stderr", None)
    return str(said).strip().splitlines()[0] if said else str(error)
