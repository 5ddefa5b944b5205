"""What a hunt found, in files: vectors and pictures."""

from __future__ import annotations

from itertools import count
from pathlib import Path
from typing import Any

from harness.cases.vector_files import files_of
from harness.errors import InputError

PICTURES = (".png", ".svg")


def save_vector(folder: Path, vector: Any, files: dict[str, str] | None = None) -> Path:
    """Write the files of a vector into a folder, and never over those of another one.

    Args:
        folder: made where it does not exist.
        vector: its files are called as the second part of its id, with a number where there is
            another vector of that name.
        files: their texts by name; left out for those of a controller.

    Returns:
        The file in JSON; those in CSV lie beside it.

    Raises:
        InputError: one cannot be written.
    """
    called = stem = vector.id.partition("/")[2]
    files = files_of(vector) if files is None else files
    text = files[f"{called}.json"]
    try:
        folder.mkdir(exist_ok=True)
        for number in count(2):
            place = folder / f"{stem}.json"
            if not place.exists() or place.read_text(encoding="utf-8") == text:
                break
            stem = f"{called}-{number}"
        for name, content in files.items():
            file = folder / f"{stem}{name.removeprefix(called)}"
            file.write_text(content, encoding="utf-8", newline="\n")
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=folder) from None
    return place


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
