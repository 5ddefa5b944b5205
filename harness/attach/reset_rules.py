"""The rules for a full reset by name: those of the reference, and those of a file of one's own.

A rule of one's own is a `ctrl.resets.ResetRule` in a Python file. Its condition is compiled where many
banks are run, so it may do what numba can compile: arithmetic and comparisons of plain numbers.

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
from harness.attach.base import AttachError
from harness.attach.python import imported

BY_PYTHON = "py:"


def named_rule(name: str, folder: Path | None = None) -> ResetRule:
    """The rule of this name, or `py:module:NAME` or `py:path/to/file.py:NAME`.

    Args:
        name: as a study or a controller `ref:NAME` names it.
        folder: from where a file is seen; None for the current one.

    Raises:
        AttachError: there is no such rule, or what is there is none.
    """
    if not name.startswith(BY_PYTHON):
        if name not in RESET_RULES:
            own = f"{BY_PYTHON}{name}" if ".py:" in name else "py:FILE.py:NAME"
            then = f"One of your own is written {own}"
            raise AttachError(
                f"there is no reset rule {name!r}", hint=nearest(name, RESET_RULES, then)
            )
        return RESET_RULES[name]
    where, _, member = name.removeprefix(BY_PYTHON).rpartition(":")
    if not where or not member:
        raise AttachError(
            f"{name!r} names no rule", hint="write py:module:NAME or py:path/to/file.py:NAME"
        )
    is_file = where.endswith(".py")
    module = imported(str(folder / where) if is_file and folder is not None else where)
    rule = getattr(module, member, None)
    if not isinstance(rule, ResetRule):
        rules = [key for key, value in vars(module).items() if isinstance(value, ResetRule)]
        found = "is missing" if rule is None else f"is a {type(rule).__name__}, no ResetRule"
        hint = f"there is {', '.join(rules) or 'no ResetRule'}"
        if isinstance(rule, type):
            hint += f"; a class is attached as py:{where}:{member}"
        raise AttachError(f"{member} of {where} {found}", hint=hint)
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
