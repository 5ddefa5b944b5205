"""The reset rules that a study names: those of the reference, and those of its author.

A rule of one's own is a `ctrl.resets.ResetRule` in a Python file beside the study. Its condition is
compiled, so it may do what numba can compile: arithmetic and comparisons of plain numbers.

    from math import inf
    from ctrl.resets import ResetRule

    def higher(limits, level_v, i):
        return level_v >= limits.full_v + 0.1

    RULE = ResetRule("higher", "100 mV more", during_hold=False, sustained=True, condition=higher)
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

from ctrl.errors import nearest
from ctrl.resets import RESET_RULES, ResetRule
from harness.attach.python import imported
from harness.errors import InputError

BY_PYTHON = "py:"


def named_rule(name: str, folder: Path) -> ResetRule:
    """The rule of this name, or `py:module:NAME` or `py:file.py:NAME`.

    Args:
        name: as a study names it.
        folder: from where a file is seen.

    Raises:
        InputError: there is no such rule, or what is there is none.
    """
    if not name.startswith(BY_PYTHON):
        if name not in RESET_RULES:
            raise InputError(
                f"there is no reset rule {name!r}",
                hint=f"{nearest(name, RESET_RULES)} One of your own is written py:FILE.py:NAME",
            )
        return RESET_RULES[name]
    where, _, member = name.removeprefix(BY_PYTHON).rpartition(":")
    if not where or not member:
        raise InputError(
            f"{name!r} names no rule", hint="write py:module:NAME or py:path/to/file.py:NAME"
        )
    module = imported(str(folder / where) if where.endswith(".py") else where)
    rule = getattr(module, member, None)
    if not isinstance(rule, ResetRule):
        rules = [key for key, value in vars(module).items() if isinstance(value, ResetRule)]
        found = "is missing" if rule is None else f"is a {type(rule).__name__}, no ResetRule"
        raise InputError(
            f"{member} of {where} {found}", hint=f"there is {', '.join(rules) or 'no ResetRule'}"
        )
    return rule


def rule_source(name: str, folder: Path) -> bytes:
    """The file of a rule of one's own; empty for one of the reference."""
    if not name.startswith(BY_PYTHON):
        return b""
    where = name.removeprefix(BY_PYTHON).rpartition(":")[0]
    if where.endswith(".py"):
        return (folder / where).read_bytes()
    plan = importlib.util.find_spec(where)
    return Path(plan.origin).read_bytes() if plan is not None and plan.origin else b""
