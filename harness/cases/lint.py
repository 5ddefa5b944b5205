"""What the shipped vectors must be, apart from right: distinct, covering, robust, and up to date."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from attrs import frozen

from harness.cases.builder import NotApplicableError
from harness.cases.files import compared
from harness.cases.folder import CHARGER_FOLDER, vectors_folder
from harness.cases.margins import close_readings, stages_of
from harness.cases.recipe import SOURCES, TAGS
from harness.cases.recipes import all_recipes
from harness.cases.render import render, texts_of
from harness.cases.schema import CHARGER_SCHEMA_NAME, SCHEMA_NAME
from harness.cases.settling import unsettled
from harness.cases.timers import close_timers
from harness.cases.vector import Vector, read_vector
from harness.run import FEATURES

# What any message exchanged with a controller puts to the test: no vector is about it.
TRANSPORT_GROUP, ABOUT_CASES = "LINK", ("LINK.cuts", "LINK.fresh-start")
LEAST_VECTORS = 2
# Group and slug.
ID = re.compile(r"[a-z]+/[a-z0-9]+(-[a-z0-9]+)*")
# What lies in the folder beside the vectors.
_OTHER_FILES = frozenset({"README.md", SCHEMA_NAME, CHARGER_SCHEMA_NAME, "published/README.md"})
_SOURCE_SUFFIX = ".bdf.csv"


@frozen
class Problem:
    """One thing that is wrong with the vectors.

    Attributes:
        where: id of the vector or requirement, or the file.
        rule: the rule that it breaks.
        sentence: what is wrong, in plain words.
    """

    where: str
    rule: str
    sentence: str

    def __str__(self) -> str:
        return f"{self.where}: {self.sentence} ({self.rule})"


def check(folder: Path | None = None) -> tuple[Problem, ...]:
    """Check the recipes, what they render to, and the files in `folder`, by default the shipped.

    Raises:
        InputError: the folder cannot be read.
    """
    place = vectors_folder() if folder is None else folder
    problems: list[Problem] = []
    vectors: list[Vector] = []
    for recipe in all_recipes():
        try:
            vectors.append(render(recipe))
        except NotApplicableError as error:
            problems.append(
                Problem(recipe.id, "renders", f"not even its own settings fit: {error}")
            )
    problems.extend(check_vectors(vectors))
    problems.extend(_files(place, vectors))
    return tuple(problems)


def check_vectors(vectors: Iterable[Vector], *, coverage: bool = True) -> Iterator[Problem]:
    """Check vectors, and unless `coverage` is false whether they exercise every requirement."""
    whole = tuple(vectors)
    yield from _duplicates(whole)
    for vector in whole:
        for rule in _RULES:
            for sentence in rule(vector):
                yield Problem(vector.id, rule.__name__.strip("_").replace("_", " "), sentence)
    if coverage:
        yield from _coverage(whole)


def known_requirements() -> tuple[str, ...]:
    """Ids of the requirement catalogue that a vector can exercise."""
    from harness.rules import REQUIREMENTS  # the catalogue loads every check

    return tuple(
        each.id for each in REQUIREMENTS if each.group != TRANSPORT_GROUP or each.id in ABOUT_CASES
    )


# -- one vector ----------------------------------------------------------------------------


def names_of(
    vector: Any, known: tuple[str, ...], kinds: Iterable[tuple[str, Iterable[str], tuple[str, ...]]]
) -> Iterator[str]:
    """Say which names a vector of any role has that do not exist.

    Args:
        vector: the vector.
        known: ids of the requirements that there are.
        kinds: what each other kind of name is called, the names, and those that there are.
    """
    if not ID.fullmatch(vector.id):
        yield f"the id {vector.id!r} is no slug of the form group/some-name"
    for name in vector.requirements:
        if name not in known:
            yield f"there is no requirement {name!r}"
    for name in vector.negative:
        if name not in vector.requirements:
            yield f"{name} is negative, but not among the requirements"
    for kind, names, allowed in kinds:
        for name in names:
            if name not in allowed:
                yield f"there is no {kind} {name!r}; known are {', '.join(allowed)}"


def words(vector: Any) -> Iterator[str]:
    """Say which words a vector of any role lacks."""
    for name in ("title", "description", "why", "requirements", "catches"):
        if not getattr(vector, name):
            yield f"the {name} is empty"


def steps_back(vector: Any) -> Iterator[str]:
    """Say whether a vector of any role has the tag `backward` where it should, and only there."""
    t = vector.trace.t[np.isfinite(vector.trace.t)]
    back = np.flatnonzero(np.diff(t) < 0)
    if len(back) and "backward" not in vector.tags:
        yield f"time steps back after t {t[back[0]]:g} s, and the tag backward is missing"
    if not len(back) and "backward" in vector.tags:
        yield "the tag backward is set, but time never steps back"


def indices(vector: Any, names: Iterable[str]) -> Iterator[str]:
    """Say which members of a vector of any role should be indices of samples and are not."""
    for name in names:
        places = getattr(vector, name)
        inside = all(0 < k < len(vector.trace) for k in places)
        if list(places) != sorted(set(places)) or not inside:
            yield f"{name} are no indices of samples in order, after the first"


def _names(vector: Vector) -> Iterator[str]:
    kinds = (
        ("feature", vector.features, FEATURES),
        ("tag", vector.tags, tuple(TAGS)),
        ("source", (vector.source,), SOURCES),
    )
    return names_of(vector, known_requirements(), kinds)


def _distance(vector: Vector) -> Iterator[str]:
    if "boundary" not in vector.tags and not list(_expectation(vector)):
        yield from close_readings(vector.case)


def _timer_ends(vector: Vector) -> Iterator[str]:
    if "boundary" not in vector.tags and not list(_expectation(vector)):
        yield from close_timers(vector.case)


def _settling(vector: Vector) -> Iterator[str]:
    # The readings of a published trace are what they are.
    bound = "boundary" not in vector.tags and vector.source != "published"
    if bound and not list(_expectation(vector)):
        yield from unsettled(vector.case)


def _order(vector: Vector) -> Iterator[str]:
    yield from steps_back(vector)
    t = vector.trace.t[np.isfinite(vector.trace.t)]
    same = np.flatnonzero(np.diff(t) == 0)
    if len(same) and "boundary" not in vector.tags:
        yield f"two samples have the stamp {t[same[0]]:g} s, and the tag boundary is missing"
    yield from indices(vector, ("power_cycles", "equalise_requests", "cuts"))


def _expectation(vector: Vector) -> Iterator[str]:
    try:
        stages = stages_of(vector.case)
    except ValueError as error:
        yield str(error)
        return
    stamps = Counter(vector.trace.t.tolist())
    marked = [t for t, _, _ in vector.expected.soc] + list(vector.expected.resets)
    for t in marked:
        if stamps[t] != 1:
            yield f"{stamps[t]} samples have the stamp {t:g} s at which something is expected"
            return
    for t in vector.expected.resets:
        k = vector.trace.t.tolist().index(t)
        if k == 0 or stages[k] != "float" or stages[k - 1] == "float":
            yield f"the full reset at t {t:g} s is not on a sample that goes into float"


def _reference(vector: Vector) -> Iterator[str]:
    """What the reference controller makes of it."""
    from ctrl import Controller, Sample  # reading vectors needs no controller

    if list(_expectation(vector)):
        return
    controller = Controller(vector.settings, vector.soc)
    names = ("t", "v", "i", "cell_max_v", "temp_c", "temp_max_c")
    none = [None] * len(vector.trace)
    trace = vector.trace
    columns = [trace.column(n).tolist() if n in trace.columns else none for n in names]
    stages, resets, counts = [], [], {}
    for k, readings in enumerate(zip(*columns, strict=True)):
        if k in vector.power_cycles:
            controller.power_cycle()
        if k in vector.equalise_requests:
            controller.request_equalisation()
        output = controller.step(Sample.of(*readings))
        stages.append(output.stage.word)
        counts[readings[0]] = output.soc
        if output.full_reset:
            resets.append(readings[0])
    for k, (said, found) in enumerate(zip(stages_of(vector.case), stages, strict=True)):
        if said != found:
            t = trace.t[k]
            yield f"at t {t:g} s {said} is expected, the reference is in {found}"
            return
    if tuple(resets) != vector.expected.resets:
        yield f"full resets are expected at {vector.expected.resets}, the reference has {resets}"
    for t, soc, tolerance in vector.expected.soc:
        if abs(counts[t] - soc) > tolerance + 1e-12:
            yield f"at t {t:g} s a count of {soc} is expected, the reference has {counts[t]}"


_RULES: tuple[Callable[[Vector], Iterator[str]], ...] = (
    _names,
    words,
    _order,
    _expectation,
    _distance,
    _timer_ends,
    _settling,
    _reference,
)


# -- all of them ---------------------------------------------------------------------------


def _duplicates(vectors: tuple[Vector, ...]) -> Iterator[Problem]:
    for name, times in Counter(vector.id for vector in vectors).items():
        if times > 1:
            yield Problem(name, "duplicates", f"{times} vectors have this id")


def _coverage(vectors: tuple[Vector, ...]) -> Iterator[Problem]:
    for name in known_requirements():
        found = [vector for vector in vectors if name in vector.requirements]
        negative = [vector for vector in found if name in vector.negative]
        if len(found) < LEAST_VECTORS:
            yield Problem(
                name, "coverage", f"{len(found)} vectors exercise it, {LEAST_VECTORS} are due"
            )
        if not negative:
            yield Problem(name, "coverage", "no vector exercises it by what must not happen")
        if found and len(negative) == len(found):
            yield Problem(name, "coverage", "no vector exercises it by what must happen")


def _files(folder: Path, vectors: list[Vector]) -> Iterator[Problem]:
    for found in compared(folder, texts_of(vectors), read_vector, _may_be_there):
        yield Problem(*found)


def _may_be_there(name: str) -> bool:
    other_role = name.startswith(f"{CHARGER_FOLDER}/")
    return name in _OTHER_FILES or name.endswith(_SOURCE_SUFFIX) or other_role
