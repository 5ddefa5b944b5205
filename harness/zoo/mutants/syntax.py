"""Changes in the source of the rules: find a place by what stands there, change it, compile it again."""

from __future__ import annotations

import ast
import copy
import inspect
import re
import textwrap
from collections.abc import Callable, Iterator
from functools import cache
from typing import TypeVar

from harness.zoo.mutants.binding import FUNCTIONS
from harness.zoo.mutants.mutant import Change, Names

Found = TypeVar("Found", bound=ast.AST)

_WORDS = (
    (">=", " ge "),
    ("<=", " le "),
    ("==", " eq "),
    ("!=", " ne "),
    (">", " gt "),
    ("<", " lt "),
    ("&", " has "),
    ("+", " plus "),
    ("-", " minus "),
    ("*", " times "),
)
# A name that is longer is cut, and says so.
LONGEST = 48
_IDLE = re.compile(r"\b(limits|sample|watch|charge)\.|\bself\b")


@cache
def tree_of(function: str) -> ast.FunctionDef:
    """The syntax tree of a function of the rules; never changed, only copied."""
    module = ast.parse(textwrap.dedent(inspect.getsource(FUNCTIONS[function])))
    found = module.body[0]
    assert isinstance(found, ast.FunctionDef)
    return found


@cache
def nodes(function: str) -> tuple[ast.AST, ...]:
    """The nodes of the tree, the outer ones first."""
    return tuple(ast.walk(tree_of(function)))


def changed(function: str, node: ast.AST, new: Callable[[ast.AST], ast.AST]) -> ast.FunctionDef:
    """The tree with one node replaced by what `new` makes of a copy of it.

    What is not on the way to that node is shared with the tree, which stays as it is.
    """
    result = _rebuilt(tree_of(function), node, new)
    assert isinstance(result, ast.FunctionDef)
    return result


def _rebuilt(here: ast.AST, node: ast.AST, new: Callable[[ast.AST], ast.AST]) -> ast.AST:
    """The tree under `here`, itself where the node is not in it."""
    if here is node:
        return new(_copied(here))
    for name, value in ast.iter_fields(here):
        parts = value if isinstance(value, list) else [value]
        for k, part in enumerate(parts):
            if not isinstance(part, ast.AST):
                continue
            other = _rebuilt(part, node, new)
            if other is not part:
                result = _copied(here)
                if isinstance(value, list):
                    getattr(result, name)[k] = other
                else:
                    setattr(result, name, other)
                return result
    return here


def _copied(node: ast.AST) -> ast.AST:
    """A copy whose lists are its own, and whose children are not."""
    result = copy.copy(node)
    for name, value in ast.iter_fields(node):
        if isinstance(value, list):
            setattr(result, name, list(value))
    return result


def text_of(node: ast.AST) -> str:
    """What stands there, as source."""
    return ast.unparse(node)


def compiled(tree: ast.FunctionDef) -> Change:
    """The change that puts a changed function in the place of the right one."""

    def change(names: Names) -> None:
        # Through its text: the tree shares its nodes with others and must not be touched.
        text = ast.unparse(ast.Module(body=[_plain(tree)], type_ignores=[]))
        exec(compile(text, f"<{tree.name}, changed>", "exec"), names)

    return change


def _plain(tree: ast.FunctionDef) -> ast.FunctionDef:
    """Without annotations, which nothing evaluates."""
    bare = copy.copy(tree)
    bare.returns = None
    bare.args = copy.copy(tree.args)
    bare.args.args = [ast.arg(arg=argument.arg) for argument in tree.args.args]
    return bare


def condition(text: str) -> ast.expr:
    """The expression of a text."""
    return ast.parse(text, mode="eval").body


def statement(text: str) -> ast.stmt:
    """The statement of a text."""
    return ast.parse(text).body[0]


def shown(text: str) -> str:
    """Source as it is told to people: without the names that say nothing."""
    return _IDLE.sub("", text)


def slug(text: str) -> str:
    """Source as part of a name: small letters, digits and dashes."""
    text = shown(text)
    for sign, word in _WORDS:
        text = text.replace(sign, word)
    words = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
    if len(words) <= LONGEST:
        return words
    return words[:LONGEST].rpartition("-")[0] + "-etc"


def guards(function: str) -> Iterator[tuple[ast.expr, str]]:
    """What decides a way in a function: every test, and every flag that is worked out.

    Returns:
        The test, and what it decides about where the test alone does not say it.
    """
    tests = [text_of(node.test) for node in nodes(function) if isinstance(node, ast.If | ast.IfExp)]
    for node in nodes(function):
        if isinstance(node, ast.If | ast.IfExp):
            plain = isinstance(node.test, ast.Name | ast.Call)
            again = tests.count(text_of(node.test)) > 1
            yield node.test, _decided(node) if plain or again else ""
        elif isinstance(node, ast.Assign | ast.Return) and isinstance(
            node.value, ast.Compare | ast.BoolOp
        ):
            yield node.value, ""


def _decided(node: ast.If | ast.IfExp) -> str:
    if isinstance(node, ast.IfExp):
        return text_of(node.body)
    first = node.body[0]
    return text_of(first.targets[0] if isinstance(first, ast.Assign) else first).split("\n")[0]


def find(function: str, kind: type[Found], text: str) -> Found:
    """The one node of a kind whose source begins with a text.

    Raises:
        LookupError: there is none, or more than one.
    """
    found = [
        each
        for each in nodes(function)
        if isinstance(each, kind) and text_of(each).startswith(text)
    ]
    if len(found) != 1:
        raise LookupError(f"{function}: {len(found)} places begin with {text!r}, not one")
    return found[0]


def replaced(function: str, node: ast.AST, by: ast.AST) -> ast.FunctionDef:
    """The function with one node replaced by another."""
    return changed(function, node, lambda _: by)


def before(function: str, node: ast.stmt, *texts: str) -> ast.FunctionDef:
    """The function with statements inserted before one of its own."""

    def new(place: ast.AST) -> ast.AST:
        assert isinstance(place, ast.stmt)
        return ast.If(test=ast.Constant(True), body=[*map(statement, texts), place], orelse=[])

    return changed(function, node, new)
