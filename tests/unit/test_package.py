"""The package says of itself what is true: version, licence, and what it needs."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import harness
from harness.version import VERSION

ROOT = Path(harness.__file__).parents[1]
PROJECT: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
CORE = "core"
# Named by what is installed; most are imported by the same name.
IMPORTED_AS = {"tomli-w": "tomli_w"}
# Parts of what is installed that come as packages of their own.
BROUGHT_BY = {"_cffi_backend": "cffi", "llvmlite": "numba", "markupsafe": "jinja2"}
PLANTED = ("starters", "examples")


def needed_by() -> dict[str, set[str]]:
    """What core and each extra for users install, by the names they are imported by."""
    project = PROJECT["project"]
    lists = {CORE: project["dependencies"], **project["optional-dependencies"]}
    return {
        name: {
            IMPORTED_AS.get(package, package)
            for text in lists[name]
            if (package := re.split(r"[^\w-]", text)[0])
        }
        for name in lists
        if name not in ("test", "dev")
    }


@cache
def imported_by_code() -> dict[str, list[str]]:
    """The packages that are not ours and not Python's, each with the files that import it."""
    own = {"ctrl", "harness"}
    found: dict[str, list[str]] = {}
    for folder in own:
        for path in (ROOT / folder).rglob("*.py"):
            if set(path.parts) & set(PLANTED):
                continue
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                names = []
                if isinstance(node, ast.Import):
                    names = [alias.name for alias in node.names]
                elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                    names = [node.module]
                for name in {name.partition(".")[0] for name in names}:
                    if name not in own and name not in sys.stdlib_module_names:
                        found.setdefault(name, []).append(path.relative_to(ROOT).as_posix())
    return found


def cited() -> dict[str, str]:
    """The members of CITATION.cff that are written on one line."""
    text = (ROOT / "CITATION.cff").read_text(encoding="utf-8")
    return dict(re.findall(r"^([\w-]+): (.+)$", text, re.MULTILINE))


def test_citation_names_the_version_and_the_licence_of_the_package() -> None:
    members = cited()
    assert members["cff-version"] == "1.2.0"
    assert members["version"] == VERSION
    # The library that draws the pictures of a page comes along, under its own licence.
    assert PROJECT["project"]["license"] == f"{members['license']} AND MIT"
    assert members["title"] == "Fullproof"
    assert members["type"] == "software"
    assert members["message"]


def test_citation_names_the_project_as_its_author() -> None:
    text = (ROOT / "CITATION.cff").read_text(encoding="utf-8")
    authors = re.search(r"^authors:\n((?:  .*\n)+)", text, re.MULTILINE)
    assert authors is not None
    assert authors[1] == "  - name: The Fullproof authors\n"


def test_the_version_is_said_once() -> None:
    assert "version" not in PROJECT["project"]
    assert PROJECT["project"]["dynamic"] == ["version"]
    place = ROOT / PROJECT["tool"]["hatch"]["version"]["path"]
    assert f'VERSION = "{VERSION}"' in place.read_text(encoding="utf-8")
    assert re.fullmatch(r"\d+\.\d+\.\d+", VERSION)


def test_what_is_imported_is_installed_with_the_package_or_an_extra() -> None:
    needed = set().union(*needed_by().values())
    missing = {
        name: files
        for name, files in imported_by_code().items()
        if BROUGHT_BY.get(name, name) not in needed and name != "pytest"
    }
    assert missing == {}


def test_nothing_is_installed_that_no_code_imports() -> None:
    imported = set(imported_by_code())
    assert {name: sorted(of - imported) for name, of in needed_by().items() if of - imported} == {}


def test_only_the_front_for_pytest_imports_pytest() -> None:
    importing = [path.partition("/")[2] for path in imported_by_code()["pytest"]]
    assert importing
    assert [path for path in importing if not path.startswith("plugin/")] == []


@pytest.mark.parametrize("extra", ["plots", "parquet", "fmu", "dask"])
def test_every_extra_is_told_to_users_as_it_is_installed(extra: str) -> None:
    assert extra in PROJECT["project"]["optional-dependencies"]
    pages = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "docs").rglob("*.md"))
    assert f"pip install 'fullproof[{extra}]'" in pages


def test_oldest_python_of_the_package_is_that_of_its_tools() -> None:
    assert PROJECT["project"]["requires-python"] == ">=3.11"
    assert "Programming Language :: Python :: 3.11" in PROJECT["project"]["classifiers"]
    assert PROJECT["tool"]["mypy"]["python_version"] == "3.11"
    assert PROJECT["tool"]["ruff"]["target-version"] == "py311"


def test_whoever_unpacks_the_sources_gets_all_that_is_needed_to_build_and_test_them() -> None:
    told = PROJECT["tool"]["hatch"]["build"]["targets"]["sdist"]["include"]
    assert {"/ctrl", "/harness", "/vectors", "/tests", "/docs", "/.ci"} <= set(told)
    for name in told:
        assert list(ROOT.glob(name.lstrip("/"))), f"{name} is not there"
    for name in PROJECT["project"]["license-files"]:
        assert (ROOT / name).is_file()
