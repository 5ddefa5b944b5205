"""Fifty cases of the soak: controllers that break leave nothing behind, and a leak would be seen."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from attrs import evolve

from tests.attach.planted import needs_compiler
from tests.soak.__main__ import complaints, soak
from tests.soak.left_behind import Held, held

CLEAN = Held(children=0, strays=0, files=8, threads=1, temporary=0, memory_mb=50.0)


@needs_compiler
def test_controllers_that_break_leave_nothing_behind() -> None:
    wrong, told = soak(50)
    assert wrong == []
    assert told["cases"] == 50
    assert told["killed by SIGSEGV"] >= 2
    assert len(told) > 4


def test_what_is_left_behind_is_told() -> None:
    assert complaints(CLEAN, CLEAN, CLEAN) == []
    for change, said in (
        ({"children": 1}, "children: 0 before, 1 after"),
        ({"strays": 2}, "strays: 0 before, 2 after"),
        ({"files": 9}, "files: 8 before, 9 after"),
        ({"threads": 2}, "threads: 1 before, 2 after"),
        ({"temporary": 1}, "temporary: 0 before, 1 after"),
        ({"memory_mb": 71.0}, "memory: 50.0 MB, then 71.0 MB"),
    ):
        assert complaints(CLEAN, CLEAN, evolve(CLEAN, **change)) == [said]


def test_what_is_held_is_counted(tmp_path: Path) -> None:
    before = held(tmp_path, patience_s=0.0)
    with (tmp_path / "open.txt").open("w"):
        child = subprocess.Popen([sys.executable, "-S", "-c", "input()"], stdin=subprocess.PIPE)
        during = held(tmp_path, patience_s=0.0)
        child.communicate(b"\n")
    after = held(tmp_path, patience_s=0.0)
    assert during.children == before.children + 1
    assert during.files == before.files + 2
    assert (after.children, after.files) == (before.children, before.files)
