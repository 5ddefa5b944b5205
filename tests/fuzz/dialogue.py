"""A program that answers whatever stands in a file: a peer of the line protocol without a process."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from ctrl.charger import ChargerSettings
from ctrl.settings import Settings
from harness.attach import drive
from harness.attach.kept import Kept
from harness.attach.process import LONGEST_LINE_BYTES, NoAnswer, Process
from harness.attach.program import Program, ProgramAttachment
from harness.charger.attach import drive_charger
from harness.charger.attach_program import ChargerProgram
from harness.charger.case import ChargerCase, ChargerTrace
from harness.charger.judge import judge_charger
from harness.judge import judge
from harness.run import Case, Trace

EXAMPLES = Path(__file__).parents[2] / "harness/examples/python"
SAMPLES = 8


class Recited(Process):
    """Answers each message with the next line, and has ended where there is none."""

    def __init__(self, lines: bytes) -> None:  # no process is begun
        self.stderr = Kept()
        self.unread = bytearray()
        self._lines = lines.splitlines(keepends=True)

    def ask(self, line: bytes, limit_s: float) -> bytes:  # noqa: ARG002
        """The next line."""
        if not self._lines:
            raise NoAnswer("exited", b"", 0)
        answer = self._lines.pop(0)
        if len(answer) > LONGEST_LINE_BYTES:
            raise NoAnswer("endless", answer)
        if not answer.endswith(b"\n"):
            raise NoAnswer("closed", answer)
        return answer

    def farewell(self, line: bytes, limit_s: float) -> int | None:  # noqa: ARG002
        """What is left to be said comes now."""
        self.unread += b"".join(self._lines)
        return 0

    def kill(self) -> None:
        """There is nothing to end."""


def _case() -> Case:
    t = np.arange(float(SAMPLES))
    v = np.array([54.0, 55.9, 55.9, 55.9, np.nan, 55.9, 55.9, 55.0])
    settings = Settings.for_cells(16, hold_s=2.0, confirm_s=1.0, entry_dwell_s=1.0)
    return Case("hut/short", settings, Trace(t, v, np.full(SAMPLES, 4.0)), 0.75, power_cycles=(6,))


def _charger_case() -> ChargerCase:
    settings = ChargerSettings.for_cells(16, packs=1)
    t = np.arange(float(SAMPLES))
    column = np.ones((SAMPLES, 1))
    trace = ChargerTrace(
        t=t,
        own_v=np.full(SAMPLES, 54.0),
        own_a=np.full(SAMPLES, 4.0),
        request_v=column * 56.0,
        request_a=column * 50.0,
        pack_v=column * 54.0,
        pack_a=column * 4.0,
        age_s=column,
        stage=np.zeros((SAMPLES, 1), dtype=np.int8),
    )
    return ChargerCase("pier/short", settings, trace, story="", power_cycles=(6,))


def converse(path: Path) -> object:
    """Drive the answers of a controller in this file, and judge them."""
    return _conversed(path, ProgramAttachment, drive, _case(), judge)


def converse_with_charger(path: Path) -> object:
    """Drive the answers of a charger in this file, and judge them."""
    return _conversed(path, ChargerProgram, drive_charger, _charger_case(), judge_charger)


def _conversed(
    path: Path, kind: Any, driven: Callable[..., Any], case: Any, judged: Callable[..., Any]
) -> object:
    lines = path.read_bytes()

    class Peer(kind):  # type: ignore[misc]
        def _begin(self) -> Process:
            return Recited(lines)

    peer = Peer("exec:./hut", ["./hut"], 1.0)
    peer.rows_a_message = 4
    run = driven(peer, case)
    verdict = judged(run)
    peer.stop()
    return verdict


def _recorded(kind: Any, program: str, driven: Callable[..., Any], case: Any) -> tuple[bytes, ...]:
    said: list[bytes] = []
    peer: Program = kind(
        "exec:example", [sys.executable, "-I", "-S", str(EXAMPLES / program)], 20.0
    )
    peer.rows_a_message = 4
    peer.listener = lambda _, answer: said.append(answer)
    with peer:
        driven(peer, case)
    return (b"".join(said),)


@cache
def answers() -> tuple[bytes, ...]:
    """What the example controller answers."""
    return _recorded(ProgramAttachment, "controller.py", drive, _case())


@cache
def charger_answers() -> tuple[bytes, ...]:
    """What the example charger answers."""
    return _recorded(ChargerProgram, "charger.py", drive_charger, _charger_case())
