"""What a hunt found, in files: vectors and pictures."""

from __future__ import annotations

from itertools import count
from pathlib import Path

from harness.cases.vector import Vector, to_json
from harness.errors import InputError

PICTURES = (".png", ".svg")


def save_vector(folder: Path, vector: Vector) -> Path:
    """Write a vector into a folder, and never over another one.

    Args:
        folder: made where it does not exist.
        vector: its file is called as the second part of its id, with a number where there is
            another vector of that name.

    Raises:
        InputError: it cannot be written.
    """
    name, text = vector.id.partition("/")[2], to_json(vector)
    try:
        folder.mkdir(exist_ok=True)
        for number in count(2):
            place = folder / f"{name}.json"
            if not place.exists() or place.read_text(encoding="utf-8") == text:
                place.write_text(text, encoding="utf-8", newline="\n")
                return place
            name = f"{vector.id.partition('/')[2]}-{number}"
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=folder) from None
    raise AssertionError("there is always another number")


def picture_places(plot: Path, names: list[str]) -> list[Path]:
    """Where the pictures go: into the one file, or one each, called after what they show.

    Args:
        plot: a file that ends in one of `PICTURES`, or a folder.
        names: what each picture is called; where there are several for one file, this is added to
            its name.
    """
    if plot.suffix.lower() not in PICTURES:
        return [plot / f"{name}.svg" for name in names]
    if len(names) == 1:
        return [plot]
    return [plot.with_name(f"{plot.stem}-{name}{plot.suffix}") for name in names]
