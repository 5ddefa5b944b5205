"""Writes the map of the tree in DEVELOPERS.md: `python docs/hooks/module_map.py`.

What is said of a module is the first paragraph of its docstring, so a module that says well what
it is for stands well on the map.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DOCUMENT = ROOT / "DEVELOPERS.md"
HEADING = "## Map of the tree\n"
PLACES = ("ctrl", "harness", "docs/hooks")


def module_map(root: Path = ROOT) -> str:
    """The map as Markdown: a heading a folder, a row a module.

    Raises:
        ValueError: a module does not say what it is for.
    """
    modules = [
        path
        for place in PLACES
        for path in sorted((root / place).rglob("*"), key=lambda path: (path.parent, path.name))
        if path.suffix in (".py", ".c")
    ]
    parts = []
    for folder, members in groupby(modules, lambda path: path.parent):
        rows = [path for path in members if path.name != "__init__.py"]
        if rows:
            parts.append("\n".join(_folder(root, folder, rows)))
    return "\n\n".join(parts)


def with_map(document: str, root: Path = ROOT) -> str:
    """The document for contributors with the map in its place."""
    before, _, rest = document.partition(HEADING)
    _, heading, after = rest.partition("\n## ")
    return f"{before}{HEADING}\n{module_map(root)}\n{heading}{after}"


def _folder(root: Path, folder: Path, modules: list[Path]) -> Iterator[str]:
    yield f"### `{folder.relative_to(root).as_posix()}`\n"
    package = folder / "__init__.py"
    if package.exists():
        yield f"{_purpose(package)}.\n"
    yield "| module | what is in it |\n|---|---|"
    for path in modules:
        yield f"| `{path.relative_to(root).as_posix()}` | {_purpose(path)} |"


def _purpose(path: Path) -> str:
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".c":
        comment = re.match(r"/\*\s*(.*?)[:.]\s", text, re.DOTALL)
        said = comment[1].replace("\n *", " ") if comment else ""
    else:
        said = (ast.get_docstring(ast.parse(text)) or "").partition("\n\n")[0]
    if not said:
        raise ValueError(f"{path} does not say in a docstring what it is for")
    return " ".join(said.split()).rstrip(".").replace("|", "\\|")


if __name__ == "__main__":
    DOCUMENT.write_text(with_map(DOCUMENT.read_text(encoding="utf-8")), encoding="utf-8")
