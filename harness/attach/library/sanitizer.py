"""A library built with a sanitizer: what its worker needs, and what its report says."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

from harness.attach.base import AttachError

ADDRESS, UNDEFINED, THREAD = "libasan.so", "libubsan.so", "libtsan.so"
ADDRESS_OPTIONS = "detect_leaks=0:abort_on_error=1"
UNDEFINED_OPTIONS = "halt_on_error=1:abort_on_error=1:print_stacktrace=1"
COMPILERS = ("cc", "gcc", "clang")
ASKING_S = 10
_SUMMARY = re.compile(r"^SUMMARY: (.*)$", re.MULTILINE)
_UNDEFINED = re.compile(r"^.*: runtime error: .*$", re.MULTILINE)
_WRONG = re.compile(r"^==\d+==ERROR: (.*)$", re.MULTILINE)
_MARKS = ("AddressSanitizer", "runtime error:", "UndefinedBehaviorSanitizer")


def sanitizers(needed: tuple[str, ...]) -> dict[str, str]:
    """The sanitizers that a library needs: kind to the name of its library."""
    kinds = (ADDRESS, UNDEFINED, THREAD)
    return {kind: name for name in needed for kind in kinds if name.startswith(kind)}


def sanitizer_environment(
    needed: tuple[str, ...], memory_mb: int | None, *, library: Path
) -> dict[str, str]:
    """The variables with which a worker can load a library that needs these others.

    Raises:
        AttachError: a sanitizer that cannot be loaded afterwards, or one that is nowhere.
    """
    found = sanitizers(needed)
    if THREAD in found:
        raise AttachError(
            "it is built with -fsanitize=thread, which cannot be attached",
            file=library,
            hint="build it with -fsanitize=address,undefined",
        )
    variables: dict[str, str] = {}
    if UNDEFINED in found or ADDRESS in found:
        variables["UBSAN_OPTIONS"] = _options("UBSAN_OPTIONS", UNDEFINED_OPTIONS)
    if ADDRESS in found:
        limit = "" if memory_mb is None else f":hard_rss_limit_mb={memory_mb}"
        variables["ASAN_OPTIONS"] = _options("ASAN_OPTIONS", ADDRESS_OPTIONS + limit)
        own = os.environ.get("LD_PRELOAD")
        variables["LD_PRELOAD"] = ":".join(filter(None, (_path(found[ADDRESS], library), own)))
        # Only what comes from malloc can be watched.
        variables["PYTHONMALLOC"] = "malloc"
    return variables


def is_watched(needed: tuple[str, ...]) -> bool:
    """Whether the address sanitizer watches: it maps far more memory than it uses."""
    return ADDRESS in sanitizers(needed)


def told_by_sanitizer(printed: str) -> str:
    """What a sanitizer says is wrong, in one line; empty where none says anything."""
    if not any(mark in printed for mark in _MARKS):
        return ""
    for pattern in (_UNDEFINED, _SUMMARY, _WRONG):
        found = pattern.findall(printed)
        if found:
            return str(found[0]).strip()
    return ""


def _options(variable: str, ours: str) -> str:
    """Ours, and then the user's own: the last one counts."""
    return ":".join(filter(None, (ours, os.environ.get(variable))))


def _path(name: str, library: Path) -> str:
    """Where the sanitizer's own library is, as the compilers here know it."""
    named = os.environ.get("CC")
    for compiler in (*filter(None, (named,)), *COMPILERS):
        program = shutil.which(compiler)
        if program is None:
            continue
        try:
            said = subprocess.run(
                [program, f"-print-file-name={name}"],
                capture_output=True,
                text=True,
                timeout=ASKING_S,
                check=False,
            ).stdout.strip()
        except (OSError, subprocess.SubprocessError):
            continue
        # A compiler that does not know it repeats the bare name.
        if Path(said).is_absolute() and Path(said).is_file():
            return str(Path(said).resolve())
    raise AttachError(
        f"it is built with a sanitizer, and {name} is nowhere to be found",
        file=library,
        hint="name the compiler that built it in CC, or install its runtime",
    )
