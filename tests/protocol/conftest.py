"""Programs to attach: saboteurs by name, and small ones that print what a test tells them to."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from ctrl.settings import Settings
from harness.attach.process import Process
from harness.attach.program import ProgramAttachment
from harness.run import Case, Expected, Trace

ROOT = Path(__file__).parents[2]

# Prints one canned answer to each line; %SEQ% stands for the number of the message.
CANNED = r"""
import sys, time
answers = {answers!r}
for line in sys.stdin.buffer:
    if b'"do":"stop"' in line or not answers:
        break
    seq = line.split(b",")[0].split(b":")[1].strip()
    sys.stdout.buffer.write(answers.pop(0).encode("latin-1").replace(b"%SEQ%", seq) + {end!r})
    sys.stdout.buffer.flush()
    time.sleep({pause_s!r})
"""

Canned = Callable[..., ProgramAttachment]
Sabotaged = Callable[[str], ProgramAttachment]


def members_of_group(group: int) -> list[int]:
    """The live processes of a process group."""
    members = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, its_group = stat.read_text().rpartition(")")[2].split()[:3]
        except OSError:
            continue
        if int(its_group) == group and state != "Z":
            members.append(int(stat.parent.name))
    return members


def outliving(group: int) -> list[int]:
    """The members of a group that are still there some time later; the killed take a moment."""
    deadline = time.monotonic() + 5.0
    while (living := members_of_group(group)) and time.monotonic() < deadline:
        time.sleep(0.01)
    return living


class Opened:
    """Attachments that are closed at the end of a test, and the process groups that they began."""

    def __init__(self) -> None:
        self.attachments: list[ProgramAttachment] = []
        self.groups: list[int] = []

    def open(self, command: list[str], limit_s: float) -> ProgramAttachment:
        """Attach a program."""
        attachment = ProgramAttachment(f"exec:{command[0]}", command, limit_s)
        self.attachments.append(attachment)
        return attachment


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Iterator[Opened]:
    """Opens attachments; no process of any group that they begin outlives the test."""
    opened = Opened()
    begin = Process.__init__

    def noted(process: Process, command: list[str]) -> None:
        begin(process, command)
        opened.groups.append(process.pid)

    monkeypatch.setattr(Process, "__init__", noted)
    yield opened
    for attachment in opened.attachments:
        attachment.restart()
    assert [pid for group in opened.groups for pid in outliving(group)] == []


@pytest.fixture
def living() -> Callable[[int], list[int]]:
    """Tells which processes of a group do not go away."""
    return outliving


@pytest.fixture
def canned(opened: Opened, tmp_path: Path) -> Canned:
    """Attach a program that prints these answers, one a message, and then ends."""

    def attach(
        *answers: str, limit_s: float = 10.0, pause_s: float = 0.0, end: bytes = b"\n"
    ) -> ProgramAttachment:
        program = tmp_path / "canned.py"
        program.write_text(CANNED.format(answers=list(answers), pause_s=pause_s, end=end))
        return opened.open([sys.executable, "-I", "-S", str(program)], limit_s)

    return attach


@pytest.fixture
def script(opened: Opened, tmp_path: Path) -> Canned:
    """Attach a Python program of which the text is given."""

    def attach(text: str, limit_s: float = 10.0) -> ProgramAttachment:
        program = tmp_path / "script.py"
        program.write_text(text)
        return opened.open([sys.executable, "-I", "-S", str(program)], limit_s)

    return attach


@pytest.fixture
def sabotaged(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> Sabotaged:
    """Attach a saboteur by its name."""
    paths = [str(ROOT), os.environ.get("PYTHONPATH", "")]
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(path for path in paths if path))

    def attach(name: str) -> ProgramAttachment:
        return opened.open([sys.executable, "-m", "harness.zoo.saboteurs", name], 20.0)

    return attach


@pytest.fixture
def case() -> Case:
    """A short hold of the hut's bank, with a loss of power and one cut."""
    size = 60
    v = np.full(size, 55.9)
    v[:5] = 54.0
    v[10] = np.nan
    return Case(
        id="hold/of-the-hut",
        settings=Settings.for_cells(16, hold_s=20.0),
        trace=Trace(np.arange(float(size)), v, np.full(size, 40.0), cell_max_v=v / 16),
        soc=0.75,
        power_cycles=(40,),
        cuts=(15,),
        expected=Expected(((0.0, "bulk"), (8.0, "absorption")), (28.0,), ((59.0, 0.875, 0.01),)),
        features=frozenset({"full_reset"}),
        requirements=("HOLD.full-length",),
    )


@pytest.fixture
def long_trace() -> Trace:
    """2,500 samples: more than two messages, and more bytes than a pipe holds."""
    t = np.arange(2500.0)
    return Trace(t, 54.0 + np.sin(t / 7.0), 40.0 + np.cos(t / 5.0))
