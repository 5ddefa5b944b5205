"""Mutants of actions: left out, done twice, or done on another way as well."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from typing import Any

from attrs import evolve

from ctrl.limits import Limits
from ctrl.state import FULL_RESET, Output, Sample, State
from ctrl.transitions import Way
from harness.zoo.mutants.breaks import OF_SETTING, OF_WAY, breaks_of
from harness.zoo.mutants.guards import WHERE, subject_of
from harness.zoo.mutants.mutant import Change, Mutant, Names
from harness.zoo.mutants.operators import DROP, DUPLICATE
from harness.zoo.mutants.syntax import (
    before,
    compiled,
    condition,
    find,
    replaced,
    shown,
    slug,
    text_of,
    tree_of,
)
from harness.zoo.mutants.transitions import BREAKS, ROWS

# A count that jumps is told by the interval in which it does.
_JUMPS = frozenset({"SOC", "TIME.gap-adds-nothing", "TIME.backward-step", "POWER.keeps-soc"})
# Rows that are not settled in `decide`: what is said to happen there is said elsewhere.
_MISSING_ROWS = frozenset(f"way = {way.name}" for way in BREAKS)
_SETTLED_ELSEWHERE = (Way.HOLD_OVER, Way.TRIP_NO_READING)


def _assigned(node: ast.AST) -> set[str]:
    """The names that a statement gives a value; empty where it is not an assignment."""
    if isinstance(node, ast.Assign):
        targets: list[ast.expr] = node.targets
    elif isinstance(node, ast.AugAssign):
        targets = [node.target]
    else:
        return set()
    return {
        each.id for target in targets for each in ast.walk(target) if isinstance(each, ast.Name)
    }


def droppable(function: str) -> Iterator[ast.stmt]:
    """The statements without which every name still has a value: those that give it a new one."""
    tree = tree_of(function)
    arguments = {argument.arg for argument in tree.args.args}

    def inside(block: list[ast.stmt], known: set[str]) -> Iterator[ast.stmt]:
        known = set(known)
        for each in block:
            names = _assigned(each)
            if names and names <= known:
                yield each
            known |= names
            if isinstance(each, ast.If):
                yield from inside(each.body, known)
                yield from inside(each.orelse, known)

    return inside(tree.body, arguments)


def _drops() -> Iterator[Mutant]:
    for function in WHERE:
        for node in droppable(function):
            text = text_of(node)
            if text in _MISSING_ROWS:
                # `transitions` makes it.
                continue
            tree = replaced(function, node, ast.Pass())
            yield Mutant(
                name=f"drop-{function.replace('_', '-')}-{slug(text)}",
                operator=DROP,
                title=f"{WHERE[function]}, `{shown(text)}` is left out",
                subject=subject_of(function, node),
                breaks=breaks_of(function, node),
                change=compiled(tree),
                tree=tree,
            )


def _word(way: Way) -> str:
    return way.name.lower().replace("_", "-")


def _flag(way: Way, *, flag: bool) -> Change:
    def change(names: Names) -> None:
        names["HAPPENED"] = tuple(
            (said | FULL_RESET if flag else said & ~FULL_RESET) if k == way else said
            for k, said in enumerate(names["HAPPENED"])
        )

    return change


def _resets() -> Iterator[Mutant]:
    reset = frozenset({"FULL", "PROTECT.blocks-full", "EQUALISE.no-reset"})
    yield Mutant(
        name="drop-full-reset-flag",
        operator=DROP,
        title="does not say that a full reset took place",
        subject=Way.CONFIRMED.name,
        breaks=OF_WAY[Way.CONFIRMED] | {"SOC.no-jump"},
        change=_flag(Way.CONFIRMED, flag=False),
    )
    for way, row in ROWS.items():
        if way is Way.CONFIRMED:
            continue
        yield Mutant(
            name=f"extra-full-reset-said-at-{_word(way)}",
            operator=DUPLICATE,
            title=f"{row.when}: says that a full reset took place",
            subject=way.name,
            breaks=reset,
            change=_flag(way, flag=True),
        )
        if way in _SETTLED_ELSEWHERE:
            continue
        settled = find("decide", ast.If, "if way == CONFIRMED:")
        tree = before("decide", settled, f"if way == {int(way)}: soc = 1.0")
        yield Mutant(
            name=f"extra-count-set-at-{_word(way)}",
            operator=DUPLICATE,
            title=f"{row.when}: sets the count to 1",
            subject=way.name,
            breaks=reset | _JUMPS,
            change=compiled(tree),
            tree=tree,
        )


def _said_again(names: Names) -> None:
    """The full reset is said for as long as the stage lasts that it led to."""
    right = names["decide"]

    def decide(limits: Limits, rule: Any, state: State, sample: Sample) -> tuple[State, Output]:
        after, output = right(limits, rule, state, sample)
        said = names.get("memory", False) and after.charge.stage is state.charge.stage
        names["memory"] = said or output.full_reset
        return after, evolve(output, news=output.news | FULL_RESET) if said else output

    def powered_up(soc: float, right: Any = names["powered_up"]) -> Any:
        names["memory"] = False
        return right(soc)

    names["decide"], names["powered_up"] = decide, powered_up


def _twice(function: str, node: ast.AST, by: str) -> ast.FunctionDef:
    return replaced(function, node, condition(by))


def _duplicates() -> Iterator[Mutant]:
    count = find("decide", ast.Assign, "soc = counted(")
    shift = find("decide", ast.BinOp, "v - watch.shift_v")
    asked = find("request", ast.BinOp, "asked.voltage_v + shift_v")
    changes = (
        (
            "counted-twice",
            "counts every interval twice",
            "soc",
            frozenset({"SOC"}),
            before("decide", count, text_of(count)),
        ),
        (
            "level-shifted-twice",
            "shifts the voltage twice for temperature before it is compared",
            "reference_c",
            OF_SETTING["reference_c"],
            _twice("decide", shift, "v - 2 * watch.shift_v"),
        ),
        (
            "request-shifted-twice",
            "shifts what it asks for twice for temperature",
            "reference_c",
            frozenset({"REQUEST"}),
            _twice("request", asked, "asked.voltage_v + 2 * shift_v"),
        ),
    )
    for name, title, subject, breaks, tree in changes:
        yield Mutant(
            name=f"extra-{name}",
            operator=DUPLICATE,
            title=title,
            subject=subject,
            breaks=breaks,
            change=compiled(tree),
            tree=tree,
        )
    yield Mutant(
        name="extra-full-reset-said-again",
        operator=DUPLICATE,
        title="says at every sample of float that a full reset took place, once it did",
        subject=Way.CONFIRMED.name,
        breaks=OF_WAY[Way.CONFIRMED] | {"PROTECT.blocks-full", "EQUALISE.no-reset"},
        change=_said_again,
    )


def mutants() -> Iterator[Mutant]:
    """Every action that can be left out, and those that can be done once too often."""
    yield from _drops()
    yield from _resets()
    yield from _duplicates()
