"""What the shipped vectors for chargers must be: distinct, covering, fair, and up to date."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from harness.cases.files import compared
from harness.cases.lint import (
    TRANSPORT_GROUP,
    Problem,
    indices,
    names_of,
    steps_back,
    words,
)
from harness.charger.attach import InProcessCharger, drive_charger
from harness.charger.folder import charger_folder
from harness.charger.recipe import CHARGER_SOURCES, CHARGER_TAGS, charger_recipes
from harness.charger.render import exercised, render, texts_of
from harness.charger.rules import CHARGER_REQUIREMENTS
from harness.charger.vector import ChargerVector, read_charger_vector
from harness.rules.link import CUTS, FRESH


def check(folder: Path | None = None) -> tuple[Problem, ...]:
    """Check the recipes, what they render to, and the files in `folder`, by default the shipped.

    Raises:
        InputError: the folder cannot be read.
    """
    place = charger_folder() if folder is None else folder
    vectors = [render(recipe) for recipe in charger_recipes()]
    problems = list(check_vectors(vectors))
    for found in compared(place, texts_of(vectors), read_charger_vector, lambda _: False):
        problems.append(Problem(*found))
    return tuple(problems)


def check_vectors(vectors: Iterable[ChargerVector], *, coverage: bool = True) -> Iterator[Problem]:
    """Check vectors, and unless `coverage` is false whether they exercise every requirement."""
    whole = tuple(vectors)
    for name, times in Counter(vector.id for vector in whole).items():
        if times > 1:
            yield Problem(name, "duplicates", f"{times} vectors have this id")
    for vector in whole:
        for rule in _RULES:
            for sentence in rule(vector):
                yield Problem(vector.id, rule.__name__.strip("_").replace("_", " "), sentence)
    if coverage:
        for name in known_requirements():
            if not any(name in vector.requirements for vector in whole):
                yield Problem(name, "coverage", "no vector exercises it")


def known_requirements() -> tuple[str, ...]:
    """Ids of the requirements that a vector can exercise."""
    return tuple(
        each.id
        for each in CHARGER_REQUIREMENTS
        if each.group != TRANSPORT_GROUP or each.id in (CUTS, FRESH)
    )


def _names(vector: ChargerVector) -> Iterator[str]:
    kinds = (
        ("tag", vector.tags, tuple(CHARGER_TAGS)),
        ("source", (vector.source,), CHARGER_SOURCES),
    )
    return names_of(vector, known_requirements(), kinds)


def _order(vector: ChargerVector) -> Iterator[str]:
    yield from steps_back(vector)
    yield from indices(vector, ("power_cycles", "cuts"))


def _exercise(vector: ChargerVector) -> Iterator[str]:
    """A requirement that it names must come to be tested by it."""
    about = {n for n in vector.requirements if not n.startswith(f"{TRANSPORT_GROUP}.")}
    for name in sorted(about - exercised(vector.case)):
        yield f"it does not put {name} to the test"


def _corridor(vector: ChargerVector) -> Iterator[str]:
    """The reference keeps the rules, so it must lie inside."""
    if vector.expected is None:
        yield "nothing is expected"
        return
    answers = drive_charger(InProcessCharger("ref"), vector.case).answers
    found = vector.expected.outside(answers)
    if found is not None:
        yield (
            f"at sample {found.index} ({found.column}) {found.expected} is expected, "
            f"the reference has {found.observed}"
        )


_RULES: tuple[Callable[[ChargerVector], Iterator[str]], ...] = (
    _names,
    words,
    _order,
    _exercise,
    _corridor,
)
