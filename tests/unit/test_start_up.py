"""What a question that computes nothing must not load: it would wait for it every time."""

from __future__ import annotations

import subprocess
import sys

import pytest

# Each takes longer to load than everything that `--help` needs.
SLOW = {"numba", "numpy", "hypothesis", "rich", "jsonschema", "cattrs", "pyarrow", "matplotlib"}
_LOADED = "print('LOADED', *sorted({name.partition('.')[0] for name in sys.modules}))"


def loaded_after(code: str) -> set[str]:
    """The names of the packages that a fresh interpreter has loaded after it ran some code."""
    ended = subprocess.run(
        [sys.executable, "-c", f"import sys\n{code}\n{_LOADED}"],
        capture_output=True,
        text=True,
        check=True,
    )
    mark, *names = ended.stdout.splitlines()[-1].split()
    assert mark == "LOADED"
    return set(names)


def test_the_controller_loads_nothing_slow_and_nothing_of_the_harness() -> None:
    loaded = loaded_after("import ctrl")
    assert "attrs" in loaded
    assert loaded & (SLOW | {"harness", "click"}) == set()


def test_help_of_every_command_loads_nothing_slow() -> None:
    loaded = loaded_after(
        "from harness.cli.main import COMMANDS, main\n"
        "assert len(COMMANDS) > 10\n"
        "for command in COMMANDS:\n"
        "    assert main([command, '--help']) == 0"
    )
    assert "ctrl" in loaded
    assert loaded & SLOW == set()


@pytest.mark.parametrize("question", ["--version", "--help"])
def test_help_and_version_do_not_even_load_the_controller(question: str) -> None:
    loaded = loaded_after(f"from harness.cli.main import main\nassert main([{question!r}]) == 0")
    assert loaded & (SLOW | {"ctrl", "attrs", "orjson"}) == set()


def test_settings_are_told_without_anything_slow() -> None:
    loaded = loaded_after("from harness.cli.main import main\nassert main(['settings']) == 0")
    assert loaded & SLOW == set()
