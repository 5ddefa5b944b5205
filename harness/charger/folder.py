"""The shipped vectors for a charger, and the same for fixed settings."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from ctrl.charger import ChargerSettings
from harness.cases.folder import CHARGER_FOLDER, vectors_folder
from harness.charger.vector import ChargerVector, read_charger_vector
from harness.errors import InputError


def charger_folder() -> Path:
    """The folder of the shipped vectors for chargers.

    Raises:
        InputError: there are no shipped vectors, so the installation is not whole.
    """
    return vectors_folder() / CHARGER_FOLDER


@cache
def shipped_charger_vectors() -> tuple[ChargerVector, ...]:
    """Every shipped vector for chargers, sorted by id, read from its file.

    Raises:
        InputError: the installation is not whole.
    """
    paths = charger_folder().glob("*/*.json")
    found = [read_charger_vector(path, checked=False) for path in paths]
    if not found:
        raise InputError("there are no vectors", file=charger_folder())
    return tuple(sorted(found, key=lambda each: each.id))


def charger_vectors_for(
    fixed: ChargerSettings,
) -> tuple[tuple[ChargerVector, ...], dict[str, str]]:
    """The vectors for a charger whose settings cannot be set.

    Returns:
        The vectors, and why each of the others is not applicable, by id.
    """
    from harness.charger.render import rendered  # only such a charger needs it

    return rendered(fixed)
