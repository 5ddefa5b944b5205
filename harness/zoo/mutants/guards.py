"""Mutants of guards: a boundary taken in or left out, a part lost, the whole negated."""

from __future__ import annotations

import ast
from collections.abc import Iterator

from harness.zoo.mutants.breaks import breaks_of, settings_in, ways_in
from harness.zoo.mutants.mutant import Mutant
from harness.zoo.mutants.operators import BOUNDARY, NEGATE, PART, Operator
from harness.zoo.mutants.syntax import (
    changed,
    compiled,
    guards,
    nodes,
    shown,
    slug,
    text_of,
)

# The functions that decide, and where what they decide is said to be.
WHERE = {
    "powered_up": "at power-up",
    "counted": "in the count",
    "present": "with every optional reading",
    "hottest_c": "with the hottest reading",
    "since": "in every dwell",
    "watched": "in protection and the empty rule",
    "all_clear": "in the release of protection",
    "let_go": "when protection lets go",
    "sensed": "in what is remembered of the temperature",
    "shifted": "in the shift with temperature",
    "cool": "in the temperature bound of equalisation",
    "may_start": "in what holds an equalisation back",
    "warm_since": "in the heat that ends an equalisation",
    "without_current_since": "in the loss of current that ends an equalisation",
    "counting": "in the schedule of equalisation",
    "put_off": "when an equalisation is abandoned",
    "kept_up": "where the schedule of equalisation is kept",
    "with_request": "when an equalisation is asked for",
    "high_and_calm": "in the proof that the pack is full",
    "entered": "when a stage is entered",
    "dwelling": "where a dwell is kept",
    "bulk": "in bulk",
    "hold_timer": "in the hold timer",
    "absorption": "in absorption",
    "floating": "in float",
    "due": "where an equalisation is due",
    "equalising": "in equalisation",
    "unreadable": "at a reading that cannot be believed",
    "request": "in what the charger is asked for",
    "decide": "in the order of one sample",
}
_BESIDE: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.GtE: ast.Gt,
    ast.Gt: ast.GtE,
    ast.LtE: ast.Lt,
    ast.Lt: ast.LtE,
}


def subject_of(function: str, place: ast.AST) -> str:
    """What a change is about: the settings in it, the rows in it, or the function."""
    settings, ways = settings_in(place), ways_in(place)
    if settings:
        return ", ".join(settings)
    return ", ".join(way.name for way in ways) or function


def source_mutant(
    operator: Operator,
    function: str,
    node: ast.AST,
    tree: ast.FunctionDef,
    *,
    name: str,
    title: str,
    around: ast.AST | None = None,
) -> Mutant:
    """A mutant whose change is a changed function."""
    place = node if around is None else around
    where = function.replace("_", "-")
    return Mutant(
        name=f"{operator.name}-{where}-{name}",
        operator=operator,
        title=f"{WHERE[function]}, {title}",
        subject=subject_of(function, place),
        breaks=breaks_of(function, place),
        change=compiled(tree),
        tree=tree,
    )


def _boundary(function: str, node: ast.Compare) -> Iterator[Mutant]:
    for k, sign in enumerate(node.ops):
        if type(sign) not in _BESIDE:
            continue

        def new(place: ast.AST, k: int = k, sign: ast.cmpop = sign) -> ast.AST:
            assert isinstance(place, ast.Compare)
            place.ops[k] = _BESIDE[type(sign)]()
            return place

        tree = changed(function, node, new)
        one = ast.Compare(
            node.left if k == 0 else node.comparators[k - 1], [sign], [node.comparators[k]]
        )
        other = ast.Compare(one.left, [_BESIDE[type(sign)]()], one.comparators)
        yield source_mutant(
            BOUNDARY,
            function,
            one,
            tree,
            name=slug(text_of(one)),
            title=f"asks `{shown(text_of(other))}` where it should ask `{shown(text_of(one))}`",
        )


def _parts(function: str, node: ast.BoolOp) -> Iterator[Mutant]:
    joint = "and" if isinstance(node.op, ast.And) else "or"
    in_guards = [
        text_of(part)
        for each in nodes(function)
        if isinstance(each, ast.BoolOp) and type(each.op) is type(node.op)
        for part in each.values
    ]
    for k, part in enumerate(node.values):
        # Where one condition is part of two guards, what stands beside it tells them apart.
        twice = in_guards.count(text_of(part)) > 1
        beside = f" beside {text_of(node.values[k - 1])}" if twice else ""

        def new(place: ast.AST, k: int = k) -> ast.AST:
            assert isinstance(place, ast.BoolOp)
            left = [value for j, value in enumerate(place.values) if j != k]
            return left[0] if len(left) == 1 else ast.BoolOp(place.op, left)

        yield source_mutant(
            PART,
            function,
            part,
            changed(function, node, new),
            name=f"{joint}-{slug(text_of(part) + beside)}",
            title=f"`{joint} {shown(text_of(part))}` is left out of a guard{shown(beside)}",
        )


def _negated(function: str, test: ast.expr, about: str) -> Mutant:
    def new(place: ast.AST) -> ast.AST:
        assert isinstance(place, ast.expr)
        return ast.UnaryOp(ast.Not(), place)

    return source_mutant(
        NEGATE,
        function,
        test,
        changed(function, test, new),
        name=slug(text_of(test)) + (f"-for-{slug(about)}" if about else ""),
        title=f"takes `{shown(text_of(test))}` the other way round"
        + (f" for `{shown(about)}`" if about else ""),
    )


def mutants() -> Iterator[Mutant]:
    """Every guard of every function that decides, by each of the three operators."""
    for function in WHERE:
        for node in nodes(function):
            if isinstance(node, ast.Compare):
                yield from _boundary(function, node)
            elif isinstance(node, ast.BoolOp):
                yield from _parts(function, node)
        for test, about in guards(function):
            yield _negated(function, test, about)
