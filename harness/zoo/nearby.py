"""A short hint where a faulty controller is named that there is not: there are too many to name all."""

from __future__ import annotations

from collections.abc import Iterable

from ctrl.errors import nearest

_LIST = "python -m harness.zoo --list names them all"


def nearby(name: str, known: Iterable[str]) -> str:
    """The nearest name, or where to find them."""
    hint = nearest(name, list(known))
    return hint if hint.startswith("did you mean") else _LIST
