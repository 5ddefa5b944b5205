"""The command line as a user has it: a process of its own, in a folder of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.journeys.command_line import Ended, Fullproof, environment

LIMIT_S = 300


@pytest.fixture(scope="session")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the example in C is kept, once it is compiled.

    Kernels are kept where every other test finds them: each takes more than a minute to compile.
    """
    folder = tmp_path_factory.mktemp("cache")
    kept = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "fullproof/compiled"
    kept.mkdir(parents=True, exist_ok=True)
    (folder / "fullproof").mkdir()
    (folder / "fullproof/compiled").symlink_to(kept)
    return folder


@pytest.fixture
def fullproof(tmp_path: Path, cache: Path) -> Fullproof:
    """Runs one command line in `tmp_path`; no command may ever show a traceback."""

    def call(*arguments: str | Path, **changes: str) -> Ended:
        ended = subprocess.run(
            [sys.executable, "-m", "harness.cli.main", *map(str, arguments)],
            cwd=tmp_path,
            env=environment(XDG_CACHE_HOME=str(cache), **changes),
            capture_output=True,
            text=True,
            encoding="utf-8",
            stdin=subprocess.DEVNULL,
            timeout=LIMIT_S,
            check=False,
        )
        assert "Traceback" not in ended.stdout + ended.stderr
        return Ended(ended.returncode, ended.stdout, ended.stderr)

    return call
