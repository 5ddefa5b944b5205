"""What a recipe is: a vector before it has settings."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from attrs import frozen

from ctrl.settings import Settings
from harness.cases.passages import Passages

SOURCES = ("analytic", "reference", "published")
# What a tag lets a vector do that it otherwise may not.
TAGS = {
    "boundary": "stands on a decision boundary: a reading or a timer end may lie on a threshold, or "
    "a reading change right after a decision",
    "backward": "its time stamps step back",
    "common-practice": "uses numbers that are common practice and have no published source",
}


@frozen(eq=False)
class Recipe:
    """A function that writes a vector for any settings, and what is said about it.

    Attributes:
        id: stable slug `group/name`; never a number, never used again for something else.
        title: what happens, in a few words.
        description: what the trace does and what must follow, step by step.
        why: why anybody should care.
        requirements: ids of what it exercises.
        negative: those of them that it exercises by something that must not happen.
        features: what a controller must claim for the vector to be judged.
        settings: the settings of the shipped rendering.
        catches: the faults that it is meant to catch, in words.
        source: where the expectation comes from: `analytic`, `reference` or `published`.
        tags: of `TAGS`.
        write: the function; raises `NotApplicableError` for settings it cannot be written for.
    """

    id: str
    title: str
    description: str
    why: str
    requirements: tuple[str, ...]
    negative: tuple[str, ...]
    features: tuple[str, ...]
    settings: Settings
    catches: tuple[str, ...]
    source: str
    tags: tuple[str, ...]
    write: Callable[[Passages], None]


Writer = Callable[[Passages], None]
_W = TypeVar("_W", bound=Writer)


class Book:
    """The recipes of one group, in the order in which they stand in its module."""

    def __init__(self, group: str) -> None:
        """Start an empty book for the vectors `group/...`."""
        self.group = group
        self.recipes: list[Recipe] = []

    def recipe(
        self,
        name: str,
        *,
        title: str,
        why: str,
        requirements: str,
        settings: Settings,
        catches: tuple[str, ...],
        negative: str = "",
        features: str = "",
        source: str = "analytic",
        tags: str = "",
    ) -> Callable[[_W], _W]:
        """Enter a function as a recipe; its docstring is the description.

        Ids, features and tags are written with blanks between them.
        """

        def enter(write: _W) -> _W:
            description = " ".join((write.__doc__ or "").split())
            self.recipes.append(
                Recipe(
                    id=f"{self.group}/{name}",
                    title=title,
                    description=description,
                    why=why,
                    requirements=tuple(sorted({*requirements.split(), *negative.split()})),
                    negative=tuple(negative.split()),
                    features=tuple(features.split()),
                    settings=settings,
                    catches=catches,
                    source=source,
                    tags=tuple(tags.split()),
                    write=write,
                )
            )
            return write

        return enter
