"""Which part may know of which: imports point down the list, never up."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import harness

ROOT = Path(harness.__file__).parents[1]
# From the bottom up: each may import from those before it, and from its own part.
LAYERS = (
    "ctrl",
    "harness.version",
    "harness.role",
    "harness.errors",
    "harness.text_file",
    "harness.json_file",
    "harness.toml_file",
    "harness.toml_place",
    "harness.toml_fields",
    "harness.parquet_file",
    "harness.schema_words",
    "harness.interruption",
    "harness.run",
    "harness.verdict",
    "harness.rules",
    "harness.expected",
    "harness.judge",
    "harness.attach",
    "harness.cases",
    "harness.verify",
    "harness.charger",
    "harness.logs",
    "harness.world",
    "harness.explain",
    "harness.study",
    "harness.strategies",
    "harness.hunt",
    "harness.zoo",
    "harness.report",
    "harness.cli",
    "harness.plugin",
)


def layer_of(module: str) -> int:
    """The layer of a module; -1 for one that is not ours."""
    for number, name in enumerate(LAYERS):
        if module == name or module.startswith(f"{name}."):
            return number
    return -1


def imported(path: Path) -> set[str]:
    """The modules that a file imports at its top."""
    found = set()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return found


FILES = sorted(
    path
    for folder in ("ctrl", "harness")
    for path in (ROOT / folder).rglob("*.py")
    if "examples" not in path.parts
)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_imports_point_down(path: Path) -> None:
    module = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    own = layer_of(module)
    above = {name for name in imported(path) if layer_of(name) > own >= 0}
    assert above == set()


def test_every_part_has_its_layer() -> None:
    parts = {
        f"harness.{path.stem}" for path in (ROOT / "harness").iterdir() if path.suffix == ".py"
    }
    parts |= {f"harness.{path.parent.name}" for path in (ROOT / "harness").glob("*/__init__.py")}
    assert parts - {"harness.__init__"} <= set(LAYERS)


def test_the_controller_knows_nothing_of_the_harness() -> None:
    inside = {path: path.read_text(encoding="utf-8") for path in (ROOT / "ctrl").rglob("*.py")}
    assert inside
    assert [path.name for path, text in inside.items() if "import harness" in text] == []
    assert [path.name for path, text in inside.items() if "from harness" in text] == []
