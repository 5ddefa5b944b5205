"""What a mutant is: the reference with one change, generated, and what it may break."""

from __future__ import annotations

import ast
from collections.abc import Callable
from typing import Any

from attrs import field, frozen

from harness.zoo.mutants.operators import Operator

# Every name that the functions of the reference see, bound to what they see.
Names = dict[str, Any]
Change = Callable[[Names], None]


@frozen(eq=False)
class Mutant:
    """The reference with one change.

    Attributes:
        name: stable slug that says what is changed; never a position.
        operator: what made it.
        title: what the faulty controller does, in a few words.
        subject: the setting, the row of the table, or the function that it concerns.
        breaks: ids of the requirements that the change may break; empty only where none can.
        change: makes the change in the names that the functions of the reference see.
        tree: the changed function, where the change is one of source; else None.
    """

    name: str
    operator: Operator
    title: str
    subject: str
    breaks: frozenset[str]
    change: Change = field(repr=False)
    tree: ast.FunctionDef | None = field(default=None, repr=False)

    @property
    def code(self) -> str:
        """The changed source, where the change is one of source; else empty."""
        return "" if self.tree is None else ast.unparse(self.tree)
