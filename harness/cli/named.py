"""A shipped vector by its id, with a short hint where there is none."""

from __future__ import annotations

from difflib import get_close_matches

from harness.cases import Vector, shipped
from harness.errors import InputError


def vector_named(name: str, *, kind: str = "vector") -> Vector:
    """The shipped vector with this id.

    Args:
        name: the id.
        kind: what the name stands for, in the error.

    Raises:
        InputError: there is none.
    """
    by_id = {each.id: each for each in shipped()}
    if name in by_id:
        return by_id[name]
    near = get_close_matches(name, by_id, n=1)
    hint = f"did you mean {near[0]!r}?" if near else "fullproof vectors list names the vectors"
    raise InputError(f"there is no {kind} {name!r}", hint=hint)
