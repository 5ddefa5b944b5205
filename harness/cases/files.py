"""Vectors as files: written where they differ, and compared with what they must hold."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from harness.errors import InputError


def write_texts(folder: str | Path, texts: Mapping[str, str]) -> tuple[Path, ...]:
    """Write files, and leave those alone that hold what they must.

    Args:
        folder: where.
        texts: what each file must hold, by its path in the folder.

    Returns:
        The files that were new or had changed.

    Raises:
        InputError: a file cannot be written.
    """
    changed: list[Path] = []
    for name, text in texts.items():
        path = Path(folder) / name
        try:
            if path.exists() and path.read_text(encoding="utf-8") == text:
                continue
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8", newline="\n")
        except OSError as error:
            raise InputError(f"cannot be written: {error.strerror}", file=path) from None
        changed.append(path)
    return tuple(changed)


def compared(
    folder: Path,
    texts: Mapping[str, str],
    read: Callable[[Path], object],
    own: Callable[[str], bool],
) -> Iterator[tuple[str, str, str]]:
    """Compare files with what they must hold.

    Args:
        folder: where they are.
        texts: what each file must hold, by its path in the folder.
        read: reads a JSON file of a vector; raises `InputError` where it is none.
        own: whether a file of this path may be there without a recipe.

    Yields:
        Path, rule and sentence of each problem.
    """
    present = {
        path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()
    }
    for name, text in sorted(texts.items()):
        if name not in present:
            yield name, "files", "the file is missing; render the vectors again"
        elif present[name].read_bytes() != text.encode():
            yield name, "files", "the file differs from its recipe; render the vectors again"
        elif name.endswith(".json"):
            try:
                read(present[name])
            except InputError as error:
                yield name, "schema", str(error)
    for name in sorted(set(present) - set(texts)):
        if not own(name):
            yield name, "files", "there is no recipe for this file"
