"""What the commands about vectors need of a role; that of a charger is loaded only where it is asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from attrs import frozen

from ctrl.settings import Settings
from harness.cases import Vector, shipped
from harness.cases.folder import vectors_folder
from harness.cli.settings_options import given_charger_settings, given_settings
from harness.report.words import number
from harness.role import CHARGER

# Labels and texts, line by line.
Told = tuple[tuple[str, str], ...]
Options = tuple[str | None, int | None, tuple[str, ...], str | None]


@frozen
class Table:
    """Rows for people.

    Attributes:
        heads: names of the columns.
        rows: their cells, None where there is nothing.
        whole: how many rows there are in all.
    """

    heads: Sequence[str]
    rows: Sequence[Sequence[Any]]
    whole: int


@frozen
class VectorsSide:
    """The vectors of one role.

    Attributes:
        shipped: all of them, sorted by id.
        folder: where they are.
        check: what is wrong with those of a folder, None for the shipped.
        known: ids of the requirements that a vector can exercise.
        settings: the settings that options name.
        rendered: the vectors for settings, and why each of the others cannot be rendered.
        write: writes vectors into a folder, None for the shipped; the files that have changed.
        start: what is said of a vector before it begins.
        expected: what is said of what must come of it.
        tables: its first rows, as many as are asked for.
    """

    shipped: Callable[[], tuple[Any, ...]]
    folder: Callable[[], Path]
    check: Callable[[Path | None], tuple[Any, ...]]
    known: Callable[[], tuple[str, ...]]
    settings: Callable[[Options], Any]
    rendered: Callable[[Any], tuple[tuple[Any, ...], dict[str, str]]]
    write: Callable[..., tuple[Path, ...]]
    start: Callable[[Any], Told]
    expected: Callable[[Any], Told]
    tables: Callable[[Any, int], Sequence[Table]]


def vectors_side_of(role: str) -> VectorsSide:
    """The side of this role."""
    if role == CHARGER:
        return _charger_side()
    return VectorsSide(
        shipped=shipped,
        folder=vectors_folder,
        check=_check,
        known=_known,
        settings=lambda options: given_settings(*options),
        rendered=_rendered,
        write=_write,
        start=lambda vector: (("start", f"at a state of charge of {number(vector.soc)}"),),
        expected=_expected,
        tables=lambda vector, most: (
            Table(vector.trace.columns, vector.trace.part(0, most).rows(), len(vector.trace)),
        ),
    )


def _charger_side() -> VectorsSide:
    from harness.charger import lint, render
    from harness.charger.folder import charger_folder, shipped_charger_vectors
    from harness.cli.vectors_charger import expected, tables

    return VectorsSide(
        shipped=shipped_charger_vectors,
        folder=charger_folder,
        check=lint.check,
        known=lint.known_requirements,
        settings=lambda options: given_charger_settings(*options, packs=1),
        rendered=render.rendered,
        write=render.write,
        start=lambda _: (),
        expected=expected,
        tables=tables,
    )


# The recipes of controllers are slow to load, and `list` and `show` do without them.


def _check(folder: Path | None) -> tuple[Any, ...]:
    from harness.cases.lint import check

    return check(folder)


def _known() -> tuple[str, ...]:
    from harness.cases.lint import known_requirements

    return known_requirements()


def _rendered(settings: Settings) -> tuple[tuple[Vector, ...], dict[str, str]]:
    from harness.cases.render import rendered

    return rendered(settings)


def _write(folder: str | Path, vectors: Sequence[Vector] | None = None) -> tuple[Path, ...]:
    from harness.cases.render import write

    return write(folder, vectors)


def _expected(vector: Vector) -> Told:
    expected = vector.expected
    counts = (
        f"{number(soc)} at {number(t)} s (within {number(within)})"
        for t, soc, within in expected.soc
    )
    return (
        ("stages", ", ".join(f"{word} at {number(t)} s" for t, word in expected.stages)),
        ("full resets", ", ".join(f"at {number(t)} s" for t in expected.resets)),
        ("counts", ", ".join(counts)),
    )
