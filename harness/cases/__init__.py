"""What is tried on a controller: the shipped vectors, and the same for fixed settings."""

from __future__ import annotations

from functools import cache

from ctrl.errors import nearest
from ctrl.settings import Settings
from harness.cases.folder import vectors_folder
from harness.cases.vector import Vector, read_vector
from harness.errors import InputError

__all__ = ["Vector", "rendered_for", "shipped", "vector_named"]


@cache
def shipped() -> tuple[Vector, ...]:
    """Every shipped vector, sorted by id, read from its file.

    Raises:
        InputError: the installation is not whole.
    """
    found = [read_vector(path, checked=False) for path in vectors_folder().glob("*/*.json")]
    if not found:
        raise InputError("there are no vectors", file=vectors_folder())
    return tuple(sorted(found, key=lambda each: each.id))


def vector_named(name: str) -> Vector:
    """The shipped vector with an id.

    Raises:
        InputError: there is none; the hint names the nearest.
    """
    by_id = {each.id: each for each in shipped()}
    if name not in by_id:
        raise InputError(f"there is no vector {name!r}", hint=nearest(name, by_id))
    return by_id[name]


def rendered_for(fixed: Settings) -> tuple[tuple[Vector, ...], dict[str, str]]:
    """The vectors for a controller whose settings cannot be set.

    Returns:
        The vectors, and why each of the others is not applicable, by id.
    """
    from harness.cases.render import rendered  # only such a controller needs it

    return rendered(fixed)
