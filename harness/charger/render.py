"""Recipes become vectors for a charger, for given settings, and vectors become files."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from ctrl.charger import ChargerSettings
from harness.cases.builder import NotApplicableError
from harness.cases.files import write_texts
from harness.charger.attach import InProcessCharger, drive_charger
from harness.charger.case import ChargerCase, Value
from harness.charger.corridor import corridor
from harness.charger.expected import EXPECTED_COLUMNS
from harness.charger.judge import judge_charger
from harness.charger.recipe import ChargerRecipe, charger_recipes
from harness.charger.vector import ChargerVector, to_json


def render(recipe: ChargerRecipe, settings: ChargerSettings | None = None) -> ChargerVector:
    """Write the vector of a recipe.

    Args:
        recipe: what to write.
        settings: for these; left out, for those of the shipped rendering.

    Raises:
        NotApplicableError: the recipe cannot be written for these settings; the text says why.
    """
    case = recipe.case(settings)
    if settings is not None:
        _keep_about(recipe, case)
    return ChargerVector(
        id=recipe.id,
        title=recipe.title,
        description=recipe.description,
        why=recipe.why,
        requirements=recipe.requirements,
        negative=recipe.negative,
        tags=recipe.tags,
        catches=recipe.catches,
        settings=case.settings,
        power_cycles=case.power_cycles,
        cuts=case.cuts,
        expected=corridor(case),
        trace=case.trace,
    )


def rendered(
    settings: ChargerSettings,
) -> tuple[tuple[ChargerVector, ...], dict[str, str]]:
    """Every recipe written for the same settings.

    Returns:
        The vectors, sorted by id, and why each of the others is not applicable, by id.
    """
    vectors: list[ChargerVector] = []
    reasons: dict[str, str] = {}
    for recipe in charger_recipes():
        try:
            vectors.append(render(recipe, settings))
        except NotApplicableError as error:
            reasons[recipe.id] = str(error)
    return tuple(vectors), reasons


def exercised(case: ChargerCase) -> set[str]:
    """Ids of the requirements that the reference puts to the test in a case."""
    run = drive_charger(InProcessCharger("ref"), case)
    return {name for name, times in judge_charger(run).exercised.items() if times}


def _keep_about(recipe: ChargerRecipe, case: ChargerCase) -> None:
    """Refuse a rendering in which what the story is about no longer comes to pass."""
    about = {name for name in recipe.requirements if not name.startswith("LINK.")}
    missing = sorted(about - exercised(case))
    if missing:
        raise NotApplicableError(
            f"with these settings it does not put {', '.join(missing)} to the test"
        )


def files_of(vector: ChargerVector) -> dict[str, str]:
    """The text of the files of a vector, by name in the folder of its group."""
    name = vector.id.partition("/")[2]
    assert vector.expected is not None
    stamps = [[t] for t, *_ in vector.trace.rows()]
    told = vector.expected.rows()
    expected = [[*stamp, *row] for stamp, row in zip(stamps, told, strict=True)]
    return {
        f"{name}.json": to_json(vector),
        f"{name}.csv": _csv(vector.trace.columns, vector.trace.rows()),
        f"{name}.expected.csv": _csv(("t", *EXPECTED_COLUMNS), expected),
    }


def texts_of(vectors: Iterable[ChargerVector]) -> dict[str, str]:
    """The text of the files of vectors, by their paths in the folder of all."""
    return {
        f"{vector.group}/{name}": text
        for vector in vectors
        for name, text in files_of(vector).items()
    }


def write(folder: str | Path, vectors: Iterable[ChargerVector] | None = None) -> tuple[Path, ...]:
    """Write the files of vectors, by default of the shipped rendering of every recipe.

    Returns:
        The files that were new or had changed.

    Raises:
        InputError: a file cannot be written.
    """
    chosen = (render(recipe) for recipe in charger_recipes()) if vectors is None else vectors
    return write_texts(folder, texts_of(chosen))


def _csv(columns: Iterable[str], rows: Iterable[list[Value]]) -> str:
    lines = [",".join(columns), *(",".join(map(_cell, row)) for row in rows)]
    return "\n".join(lines) + "\n"


def _cell(value: Value) -> str:
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    return "" if value is None else str(value)
