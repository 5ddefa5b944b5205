"""What a condition of one's own depends on is told, or it is said that nobody can tell."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ctrl.kept_code import kept_in
from ctrl.own_code import told_of

CONDITION = """\
from math import sqrt
import numpy as np

LEAST_V = 0.1

def above(limits, level_v):
    return level_v >= limits.full_v + LEAST_V

def condition(limits, level_v, i):
    return above(limits, level_v) and sqrt(abs(i)) < 2.0 and np.abs(i) < 4.0
"""


def made(source: str) -> Callable[..., Any]:
    """The condition of a module with this text."""
    names: dict[str, Any] = {"__name__": "own"}
    exec(compile(source, "own.py", "exec"), names)
    found: Callable[..., Any] = names["condition"]
    return found


def test_the_same_text_is_told_alike() -> None:
    told = told_of([made(CONDITION)])
    assert told is not None
    assert told == told_of([made("# a comment\n\n" + CONDITION)])


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("LEAST_V = 0.1", "LEAST_V = 0.2"),
        ("full_v + LEAST_V", "full_v - LEAST_V"),
        ("limits.full_v", "limits.entry_v"),
        ("< 2.0", "< 3.0"),
        ("sqrt(abs(i))", "abs(i)"),
        ("from math import sqrt", "from math import cbrt as sqrt"),
        ("np.abs(i)", "np.sign(i)"),
        ("LEAST_V = 0.1", "LEAST_V = 0"),
        ("def above(limits, level_v)", "def above(limits, level_v, by=1)"),
    ],
)
def test_whatever_goes_into_it_changes_what_is_told(old: str, new: str) -> None:
    assert CONDITION.count(old) == 1
    assert told_of([made(CONDITION)]) != told_of([made(CONDITION.replace(old, new))])


def test_the_order_of_conditions_is_told() -> None:
    one, other = made(CONDITION), made(CONDITION.replace("0.1", "0.2"))
    assert told_of([one, other]) != told_of([other, one])


def test_what_a_condition_closes_over_is_told() -> None:
    def above(least_v: float) -> Callable[..., bool]:
        def condition(limits: Any, level_v: float, i: float) -> bool:  # noqa: ARG001
            return level_v > least_v

        return condition

    assert told_of([above(55.0)]) == told_of([above(55.0)]) is not None
    assert told_of([above(55.0)]) != told_of([above(56.0)])


def test_a_function_that_calls_itself_is_told() -> None:
    text = "def condition(limits, v, i):\n    return v < 1.0 or condition(limits, v / 2.0, i)\n"
    assert told_of([made(text)]) is not None


@pytest.mark.parametrize(
    "before",
    ["import os\nLEAST_V = os", "import numpy as np\nLEAST_V = np.float64(1)", "LEAST_V = [0.1]"],
)
def test_nothing_is_kept_where_nobody_can_tell(before: str) -> None:
    assert told_of([made(CONDITION.replace("LEAST_V = 0.1", before))]) is None


def test_another_process_tells_the_same(tmp_path: Path) -> None:
    (tmp_path / "own.py").write_text(CONDITION, encoding="utf-8")
    told = "sys.stdout.buffer.write(told_of([own.condition]))"
    ask = f"import own, sys; from ctrl.own_code import told_of; {told}"
    done = subprocess.run(
        [sys.executable, "-c", ask],
        capture_output=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(tmp_path), "PYTHONHASHSEED": "7"},
    )
    assert done.stdout == told_of([made(CONDITION)])


def test_the_folder_is_named_by_what_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    folders = {kept_in([], more) for more in (b"", b"one", b"other", b"one")}
    assert len(folders) == 3
    assert None not in folders
