"""The cases by which a charger is tried: the shipped vectors, read from their files.

They are not closed loops: what the packs read is written down beforehand, so a charger cannot make
it easier for itself.
"""

from __future__ import annotations

from functools import cache

from harness.charger.case import ChargerCase
from harness.charger.folder import shipped_charger_vectors


@cache
def charger_cases() -> tuple[ChargerCase, ...]:
    """Every case, by name.

    Raises:
        InputError: the installation is not whole.
    """
    return tuple(vector.case for vector in shipped_charger_vectors())
