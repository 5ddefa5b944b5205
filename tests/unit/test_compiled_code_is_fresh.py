"""Compiled code that is kept on disk is that of the sources as they are, and of no other rule."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import ctrl
from ctrl import compiled
from ctrl.compiled import replay
from ctrl.controller import start
from ctrl.kept_code import kept_in
from ctrl.limits import Limits
from ctrl.resets import FIRST_TOUCH, RESET_RULES, ResetRule
from ctrl.settings import Settings

SOURCES = Path(ctrl.__file__).parent

SAYS_THE_COUNT = """
import numpy as np
from ctrl.compiled import replay
from ctrl.controller import start
from ctrl.kept_code import kept_in
from ctrl.settings import Settings
t = np.arange(3.0)
said = replay(Settings(capacity_ah=100 / 3600), start(0.5), t, np.full(3, 54.0), np.ones(3))
print(round(float(said.soc[-1]), 9))
"""


def test_every_module_of_the_rules_goes_into_the_name_of_the_folder() -> None:
    used = {Path(str(module.__file__)).name for module in compiled.SOURCES}
    functions = {Path(one.__code__.co_filename).name for one in compiled._FUNCTIONS}
    assert functions <= used
    assert used == {
        "compiled.py",
        "counting.py",
        "equalisation.py",
        "limits.py",
        "protection.py",
        "resets.py",
        "stages.py",
        "state.py",
        "temperature.py",
        "transitions.py",
        "vocabulary.py",
    }


def test_changed_source_lands_in_another_folder_and_the_same_in_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    first, second = tmp_path / "first.py", tmp_path / "second.py"
    first.write_text("rule = 1\n")
    second.write_text("rule = 2\n")
    before = kept_in([first, second])
    assert before is not None
    assert before.is_dir()
    assert before.parent == tmp_path / "cache" / "fullproof" / "compiled"
    assert kept_in([first, second]) == before
    stamp = first.stat()
    first.write_text("rule = 3\n")
    # Of the same length and with the same time stamp: it is the text that counts.
    os.utime(first, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    assert kept_in([first, second]) != before


def test_folder_that_cannot_be_made_is_done_without(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    in_the_way = tmp_path / "a-file"
    in_the_way.write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(in_the_way))
    assert kept_in([SOURCES / "stages.py"]) is None


def test_rule_changed_in_another_file_is_not_answered_by_old_machine_code(tmp_path: Path) -> None:
    """The trap that gave wrong results: a kernel keeps the code of a function from another file."""
    shutil.copytree(SOURCES, tmp_path / "ctrl", ignore=shutil.ignore_patterns("__pycache__"))
    environment = os.environ | {
        "XDG_CACHE_HOME": str(tmp_path / "cache"),
        "PYTHONDONTWRITEBYTECODE": "1",
    }

    def said() -> str:
        run = [sys.executable, "-c", SAYS_THE_COUNT]
        done = subprocess.run(
            run, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    assert said() == "0.52"
    kept = sorted((tmp_path / "cache" / "fullproof" / "compiled").iterdir())
    assert len(kept) == 1
    assert list(kept[0].rglob("*.nbc"))
    counting = tmp_path / "ctrl" / "counting.py"
    stamp, text = counting.stat(), counting.read_text()
    counting.write_text(text.replace("0.5 * (before_a + now_a)", "0.9 * (before_a + now_a)"))
    os.utime(counting, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    assert said() == "0.536"
    counting.write_text(text)
    os.utime(counting, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    assert said() == "0.52"


def at_or_above(level: float) -> Callable[[Limits, float, float], bool]:
    """Conditions with the same code, that differ only in what they close over."""
    return lambda limits, level_v, i: level_v >= level  # noqa: ARG005  as `ResetRule` asks for it


def resets(rule: ResetRule) -> list[int]:
    t = np.arange(10.0)
    v = np.full(10, 56.0)
    v[6:] = 57.0
    said = replay(Settings(), start(0.5), t, v, np.zeros(10), rule=rule, requests=False)
    return [int(k) for k in np.flatnonzero(said.full_reset)]


def test_rule_of_ones_own_never_runs_the_code_of_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert resets(FIRST_TOUCH) == [4]
    low = ResetRule("first_touch", "the name of another", True, False, at_or_above(56.5))
    high = ResetRule("first_touch", "the name of another", True, False, at_or_above(99.0))
    assert RESET_RULES["first_touch"] is FIRST_TOUCH
    assert resets(low) == [6]
    assert resets(high) == []
    assert resets(FIRST_TOUCH) == [4]
    # Nothing of a rule of one's own is kept: its code could not be told from another's.
    assert len(list(tmp_path.rglob("*.nbi"))) <= 1
