"""What a hunt found, in files: vectors and pictures."""

from __future__ import annotations

from itertools import count
from pathlib import Path
from typing import Any

from harness.cases.vector import to_json
from harness.errors import InputError

PICTURES = (".png", ".svg")


def save_vector(folder: Path, vector: Any, text: str | None = None) -> Path:
    """Write a vector into a folder, and never over another one.

    Args:
        folder: made where it does not exist.
        vector: its file is called as the second part of its id, with a number where there is
            another vector of that name.
        text: the vector as it is written; left out for that of a controller.

    Raises:
        InputError: it cannot be written.
    """
    name = vector.id.partition("/")[2]
    text = to_json(vector) if text is None else text
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
