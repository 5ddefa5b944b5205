"""The pages of the documents, as they are when the site is built."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def root() -> Path:
    """The folder of the source tree."""
    return ROOT


@pytest.fixture(scope="session")
def pages_from_code() -> ModuleType:
    """The module that makes pages from the code."""
    return _hook("pages_from_code")


@pytest.fixture(scope="session")
def stage_diagram() -> ModuleType:
    """The module that draws the stage diagram."""
    return _hook("stage_diagram")


@pytest.fixture(scope="session")
def module_map() -> ModuleType:
    """The module that writes the map of the tree."""
    return _hook("module_map")


@pytest.fixture(scope="session")
def pages(pages_from_code: ModuleType) -> dict[str, str]:
    """Every page, written or generated, as Markdown with its tables; by its place in `docs`."""
    docs = ROOT / "docs"
    written = {
        path.relative_to(docs).as_posix(): path.read_text(encoding="utf-8")
        for path in sorted(docs.rglob("*.md"))
    }
    filled = {place: pages_from_code.with_tables(text) for place, text in written.items()}
    return {**filled, **pages_from_code.pages()}


def _hook(name: str) -> ModuleType:
    folder = str(ROOT / "docs" / "hooks")
    if folder not in sys.path:
        sys.path.append(folder)
    return import_module(name)
