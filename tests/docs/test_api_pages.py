"""The pages of the Python API list every public name once, and what they list is typed and documented."""

from __future__ import annotations

import inspect
import re
from enum import Enum
from functools import cache
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import attrs
import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGES = ("docs/api/ctrl.md", "docs/api/harness.md")
_LISTED = re.compile(r"^::: (\S+)$", re.MULTILINE)


def _listed() -> list[str]:
    return [
        name
        for page in PAGES
        for name in _LISTED.findall((ROOT / page).read_text(encoding="utf-8"))
    ]


NAMES = _listed()


@cache
def found(path: str) -> Any:
    """What stands at a dotted path."""
    module, _, name = path.rpartition(".")
    try:
        return getattr(import_module(module), name)
    except AttributeError:
        return import_module(path)


def told_by(module: ModuleType) -> list[str]:
    """The names that a module lists as its public ones."""
    return list(getattr(module, "__all__", ()))


PUBLISHING = sorted(
    {
        parent
        for parent in (name.rpartition(".")[0] for name in NAMES)
        if told_by(import_module(parent))
    }
)


def test_nothing_is_listed_twice() -> None:
    assert len(NAMES) > 100
    assert sorted(set(NAMES)) == sorted(NAMES)
    # Under another name neither; data may be equal, functions and classes are one or two.
    objects = [found(name) for name in NAMES]
    called = [id(each) for each in objects if callable(each) and not isinstance(each, ModuleType)]
    assert len(set(called)) == len(called)


def test_the_packages_that_say_what_is_public_are_looked_at() -> None:
    assert {"ctrl", "ctrl.charger", "harness.attach", "harness.cases", "harness.logs"} <= set(
        PUBLISHING
    )


@pytest.mark.parametrize("package", PUBLISHING)
def test_the_pages_list_what_a_package_lists(package: str) -> None:
    of_it = [name for name in NAMES if name.rpartition(".")[0] == package]
    listed = sorted(
        name.rpartition(".")[2] for name in of_it if not isinstance(found(name), ModuleType)
    )
    assert listed == sorted(told_by(import_module(package)))


def functions_of(what: Any) -> list[tuple[str, Any]]:
    """A function, or the public methods and properties of a class that are its own."""
    if inspect.isfunction(inspect.unwrap(what)):
        return [(what.__name__, inspect.unwrap(what))]
    if not inspect.isclass(what):
        return []
    own: list[tuple[str, Any]] = []
    for name, value in vars(what).items():
        if name.startswith("_"):
            continue
        of = value.fget if isinstance(value, property) else getattr(value, "__func__", value)
        if inspect.isfunction(of):
            own.append((f"{what.__name__}.{name}", of))
    return own


def untyped(function: Any) -> list[str]:
    """The parameters of a function without a type, and `return`."""
    signature = inspect.signature(function)
    bare = [
        name
        for k, (name, each) in enumerate(signature.parameters.items())
        if each.annotation is inspect.Parameter.empty and not (k == 0 and name in ("self", "cls"))
    ]
    return bare + (["return"] if signature.return_annotation is inspect.Signature.empty else [])


@pytest.mark.parametrize("name", NAMES)
def test_what_is_listed_is_typed_and_documented(name: str) -> None:
    what = found(name)
    if not (callable(what) or isinstance(what, ModuleType)):
        # A table, or an object of a class that is listed.
        assert what, name
        return
    told = inspect.getdoc(what) or ""
    assert told, name
    for of, function in functions_of(what):
        assert inspect.getdoc(function), of
        assert not untyped(function), of
    if inspect.isclass(what) and attrs.has(what) and not issubclass(what, Exception):
        given = [each for each in attrs.fields(what) if each.init]
        public = [each.name for each in given if not each.name.startswith("_")]
        missing = [each for each in public if f"{each}:" not in told]
        assert not missing, f"{name} says nothing of {missing}"
    if inspect.isclass(what) and issubclass(what, Enum):
        assert len(what) > 1


def _with_gaps(a: int, b) -> int:  # type: ignore[no-untyped-def]
    return a + int(b)


def test_what_has_no_type_is_seen() -> None:
    assert untyped(_with_gaps) == ["b"]
    assert untyped(found) == []
