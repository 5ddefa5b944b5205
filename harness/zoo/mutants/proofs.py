"""What can be proved about a mutant from its code alone."""

from __future__ import annotations

import ast
from types import CodeType

from harness.zoo.mutants.binding import bound
from harness.zoo.mutants.mutant import Mutant
from harness.zoo.mutants.syntax import tree_of

# `limits_of` takes the slack off every limit of this ending, or adds it.
_TIMES = "_s"
_STEP_BACK = "STEP_BACK_S"
# The end of a wait, which is a stamp and such a limit.
_WAIT_OVER = ("upkeep", "not_before_s")


def _plain(code: CodeType) -> tuple[object, ...]:
    """What a code object does, without where it stands."""
    constants = tuple(
        _plain(each) if isinstance(each, CodeType) else (type(each), each)
        for each in code.co_consts
    )
    return code.co_code, constants, code.co_names, code.co_varnames, code.co_argcount


def same_code(mutant: Mutant) -> bool:
    """Whether the changed source compiles to the very code of the right one."""
    if mutant.tree is None:
        return False
    right, other = bound()[mutant.tree.name], bound(mutant.change)[mutant.tree.name]
    return _plain(right.__code__) == _plain(other.__code__)


def differs_by_slack_only(mutant: Mutant) -> bool:
    """Whether all that is changed is what a guard does at the very end of a timer.

    Every time that is compared has had `TIME_SLACK_S` taken off or added: the two guards differ where
    a time is exactly that much short of what is set, and nowhere else.
    """
    tree = mutant.tree
    if tree is None:
        return False
    right = tree_of(tree.name)
    ours, theirs = list(ast.walk(right)), list(ast.walk(tree))
    if len(ours) != len(theirs):
        return False
    guards = [
        (one, other)
        for one, other in zip(ours, theirs, strict=True)
        if isinstance(one, ast.Compare) and ast.unparse(one) != ast.unparse(other)
    ]
    if not guards or not isinstance(guards[-1][1], ast.Compare):
        return False
    one, other = guards[-1]
    assert isinstance(other, ast.Compare)
    if ast.unparse(right).replace(ast.unparse(one), ast.unparse(other)) != ast.unparse(tree):
        return False
    values, changed = [one.left, *one.comparators], [other.left, *other.comparators]
    if [ast.unparse(each) for each in values] != [ast.unparse(each) for each in changed]:
        return False
    signs = [
        k for k, (a, b) in enumerate(zip(one.ops, other.ops, strict=True)) if type(a) is not type(b)
    ]
    strict = {ast.GtE: ast.Gt, ast.Gt: ast.GtE, ast.LtE: ast.Lt, ast.Lt: ast.LtE}
    return len(signs) > 0 and all(
        strict.get(type(one.ops[k])) is type(other.ops[k])
        and (_time(values[k]) or _time(values[k + 1]))
        for k in signs
    )


def _time(value: ast.expr) -> bool:
    """A time from which the slack has been taken."""
    if isinstance(value, ast.Name):
        return value.id == _STEP_BACK
    if not (isinstance(value, ast.Attribute) and isinstance(value.value, ast.Name)):
        return False
    of, name = value.value.id, value.attr
    return (of, name) == _WAIT_OVER or (of == "limits" and name.endswith(_TIMES))
