"""A shipped vector by its id, with a short hint where there is none."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any

from harness.cases import Vector, shipped
from harness.errors import InputError


def vector_named(name: str, *, kind: str = "vector") -> Vector:
    """The shipped vector for controllers with this id.

    Args:
        name: the id.
        kind: what the name stands for, in the error.

    Raises:
        InputError: there is none.
    """
    found: Vector = named(name, shipped(), kind=kind)
    return found


def named(name: str, vectors: Iterable[Any], *, kind: str = "vector") -> Any:
    """The one of some vectors, of either role, that has this id; see `vector_named`."""
    by_id = {each.id: each for each in vectors}
    if name in by_id:
        return by_id[name]
    near = get_close_matches(name, by_id, n=1)
    hint = f"did you mean {near[0]!r}?" if near else "fullproof vectors list names the vectors"
    raise InputError(f"there is no {kind} {name!r}", hint=hint)
