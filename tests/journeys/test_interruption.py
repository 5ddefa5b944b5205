"""An interruption leaves behind what was found so far."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

from harness.report.store import from_json
from tests.journeys.command_line import environment

SLOW = """
import time
from harness.examples.python.controller import Controller

class Slow(Controller):
    name = "slow"

    def __init__(self, settings, soc):
        super().__init__(settings, soc)
        open("begun", "a").write("x")
        time.sleep(SECONDS)
"""


def begun(folder: Path, times: int) -> None:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        if (folder / "begun").exists() and len((folder / "begun").read_text()) >= times:
            return
        time.sleep(0.02)
    raise AssertionError("the controller was never started")


def started(folder: Path, seconds: float, *arguments: str) -> subprocess.Popen[str]:
    (folder / "slow.py").write_text(SLOW.replace("SECONDS", str(seconds)))
    command = ["verify", "py:slow.py:Slow", "--quiet", "--limit-s", "100", *arguments]
    return subprocess.Popen(
        [sys.executable, "-m", "harness.cli.main", *command],
        cwd=folder,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_the_first_interruption_keeps_what_is_known(tmp_path: Path) -> None:
    with started(tmp_path, 0.3, "--json", "result.json") as process:
        begun(tmp_path, 2)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert err == "\nStopping after this case; interrupt again to stop at once.\n"
    assert "stopped        interrupted by the user, after" in out
    result = from_json((tmp_path / "result.json").read_bytes())
    assert 1 <= result.report.cases < 20
    assert result.stopped.startswith("interrupted by the user")


def test_the_second_one_ends_it_at_once(tmp_path: Path) -> None:
    with started(tmp_path, 60) as process:
        begun(tmp_path, 1)
        assert process.stderr is not None
        process.send_signal(signal.SIGINT)
        told = process.stderr.readline() + process.stderr.readline()
        process.send_signal(signal.SIGINT)
        told += process.stderr.read()
        assert process.wait(timeout=60) == 130
    assert [line for line in told.splitlines() if line] == [
        "Stopping after this case; interrupt again to stop at once.",
        "fullproof: interrupted",
    ]
