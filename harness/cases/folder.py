"""Where the vectors are."""

from __future__ import annotations

from pathlib import Path

from harness.errors import InputError

# Vectors for chargers lie in a folder of their own, group by group.
CHARGER_FOLDER = "charger"
_PACKAGE = Path(__file__).resolve().parents[1]
# In an installed wheel the vectors lie inside the package, in a source tree beside it.
_PLACES = (_PACKAGE / "vectors", _PACKAGE.parent / "vectors")


def vectors_folder() -> Path:
    """The folder of the shipped vectors.

    Raises:
        InputError: there is none, so the installation is not whole.
    """
    for place in _PLACES:
        if place.is_dir():
            return place
    raise InputError(
        "the shipped vectors are missing",
        file=_PLACES[0],
        hint="install fullproof again; its wheel carries them",
    )
