"""The map for contributors is true."""

from __future__ import annotations

import re
from pathlib import Path
from types import ModuleType

import pytest

MOST_LINES = 400


def test_map_of_the_tree_is_the_one_that_the_modules_give(
    root: Path, module_map: ModuleType
) -> None:
    document = (root / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert document == module_map.with_map(document), "run: python docs/hooks/module_map.py"


def test_map_has_a_row_for_every_module(root: Path, module_map: ModuleType) -> None:
    listed = re.findall(r"^\| `([\w/]+\.(?:py|c))` \| .", module_map.module_map(), re.MULTILINE)
    there = [
        path.relative_to(root).as_posix()
        for place in ("ctrl", "harness", "docs/hooks")
        for path in (root / place).rglob("*")
        if path.suffix in (".py", ".c") and path.name != "__init__.py"
    ]
    assert sorted(listed) == sorted(there)
    assert "ctrl/stages.py" in listed


def test_module_that_does_not_say_what_it_is_for_is_refused(
    tmp_path: Path, module_map: ModuleType
) -> None:
    (tmp_path / "ctrl").mkdir()
    silent = tmp_path / "ctrl" / "silent.py"
    silent.write_text("x = 1\n")
    with pytest.raises(ValueError, match=r"silent\.py does not say"):
        module_map.module_map(tmp_path)
    silent.write_text('"""Says it,\nover two lines.\n\nAnd more.\n"""\n')
    assert "| `ctrl/silent.py` | Says it, over two lines |" in module_map.module_map(tmp_path)


def test_every_folder_of_tests_is_explained(root: Path) -> None:
    text = (root / "tests" / "README.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\| `(\w+)` \| .", text, re.MULTILINE)
    there = [
        path.name
        for path in (root / "tests").iterdir()
        if path.is_dir() and any(path.rglob("test_*.py"))
    ]
    assert sorted(listed) == sorted(there)


def test_a_long_file_has_its_reason(root: Path) -> None:
    text = (root / "DEVELOPERS.md").read_text(encoding="utf-8")
    house = text.partition("## House rules\n")[2].partition("\n## ")[0]
    long = {
        path.relative_to(root).as_posix()
        for place in ("ctrl", "harness", "docs/hooks")
        for path in (root / place).rglob("*.py")
        if path.read_bytes().count(b"\n") > MOST_LINES
    }
    assert {name for name in long if f"`{name}`" not in house} == set()
    assert long, "no file is too long any more: take the exceptions out of the house rules"
