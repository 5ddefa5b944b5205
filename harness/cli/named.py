"""A shipped vector by its id, with a short hint where there is none."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any

from harness.errors import InputError


def named(name: str, vectors: Iterable[Any], *, kind: str = "vector") -> Any:
    """The one of some vectors, of either role, that has this id.

    Args:
        name: the id.
        vectors: to choose from.
        kind: what the name stands for, in the error.

    Raises:
        InputError: there is none; with a hint for the command line.
    """
    by_id = {each.id: each for each in vectors}
    if name in by_id:
        return by_id[name]
    near = get_close_matches(name, by_id, n=1)
    hint = f"did you mean {near[0]!r}?" if near else "fullproof vectors list names the vectors"
    raise InputError(f"there is no {kind} {name!r}", hint=hint)
