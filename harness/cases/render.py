"""Recipes become vectors for given settings, and vectors become files."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from ctrl.settings import Settings
from harness.cases.builder import LAST_SAMPLES, NotApplicableError
from harness.cases.files import write_texts
from harness.cases.margins import close_readings
from harness.cases.passages import Passages
from harness.cases.recipe import Recipe
from harness.cases.recipes import all_recipes
from harness.cases.settling import unsettled
from harness.cases.timers import close_timers
from harness.cases.vector import FORMAT, Vector
from harness.cases.vector_files import files_of
from harness.run import Case


def render(recipe: Recipe, settings: Settings | None = None) -> Vector:
    """Write the vector of a recipe.

    Args:
        recipe: what to write.
        settings: for these; left out, for those of the shipped rendering.

    Raises:
        NotApplicableError: the recipe cannot be written for these settings; the text says why.
    """
    chosen = recipe.settings if settings is None else settings
    passages = Passages(chosen)
    recipe.write(passages)
    passages.settle(LAST_SAMPLES)
    return Vector(
        format=FORMAT,
        id=recipe.id,
        title=recipe.title,
        description=recipe.description,
        why=recipe.why,
        requirements=recipe.requirements,
        negative=recipe.negative,
        features=recipe.features,
        tags=recipe.tags,
        source=recipe.source,
        catches=recipe.catches,
        settings=chosen,
        soc=passages.soc,
        power_cycles=passages.power_cycles,
        equalise_requests=passages.equalise_requests,
        cuts=passages.cuts,
        expected=passages.expected(),
        trace=passages.trace(),
    )


def rendered(settings: Settings) -> tuple[tuple[Vector, ...], dict[str, str]]:
    """Every recipe written for the same settings.

    Returns:
        The vectors, sorted by id, and why each of the others is not applicable, by id.
    """
    vectors: list[Vector] = []
    reasons: dict[str, str] = {}
    for recipe in all_recipes():
        try:
            vector = render(recipe, settings)
            if "boundary" not in recipe.tags:
                _keep_away(vector.case)
        except NotApplicableError as error:
            reasons[recipe.id] = str(error)
        else:
            vectors.append(vector)
    return tuple(vectors), reasons


def _keep_away(case: Case) -> None:
    """Refuse a rendering that these settings push onto a decision boundary."""
    for problems in (close_readings, close_timers, unsettled):
        for problem in problems(case):
            raise NotApplicableError(f"with these settings {problem}")


def write(folder: str | Path, vectors: Iterable[Vector] | None = None) -> tuple[Path, ...]:
    """Write the files of vectors, by default of the shipped rendering of every recipe.

    Returns:
        The files that were new or had changed.

    Raises:
        InputError: a file cannot be written.
    """
    chosen = (render(recipe) for recipe in all_recipes()) if vectors is None else vectors
    return write_texts(folder, texts_of(chosen))


def texts_of(vectors: Iterable[Vector]) -> dict[str, str]:
    """The text of the files of vectors, by their paths in the folder of all."""
    return {
        f"{vector.group}/{name}": text
        for vector in vectors
        for name, text in files_of(vector).items()
    }
