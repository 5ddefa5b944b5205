"""What a recipe is: a vector for a charger before it has settings, told as a story."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib import import_module

from attrs import frozen

from ctrl.charger import ChargerSettings
from harness.charger.case import ChargerCase
from harness.charger.scene import HUT, Scene
from harness.rules.link import CUTS

CHARGER_TAGS = {
    "backward": "its time stamps step back",
    "common-practice": "uses numbers that are common practice and have no published source",
}
CHARGER_SOURCES = ("analytic", "reference")
_MODULES = ("begin", "clock", "doubt", "follow", "packs", "recover", "restart", "sense", "stale")
# Where a trace is cut whose answers must not depend on it.
_FIRST_CUT, _CUT_EACH = 7, 41

Teller = Callable[[Scene], object]


@frozen(eq=False)
class ChargerRecipe:
    """A function that writes the samples of a vector, and what is said about it.

    Attributes:
        id: stable slug `group/name`; never a number, never used again for something else.
        title: what happens, in a few words.
        description: what the trace does and what must follow, step by step.
        why: why anybody should care.
        requirements: ids of what it exercises.
        negative: those of them that it exercises by something that must not happen.
        catches: the faults that it is meant to catch, in words.
        tags: of `CHARGER_TAGS`.
        settings: those of the shipped rendering, in whose numbers the story is written.
        step_s: how far samples are apart, s.
        tell: the function.
    """

    id: str
    title: str
    description: str
    why: str
    requirements: tuple[str, ...]
    negative: tuple[str, ...]
    catches: tuple[str, ...]
    tags: tuple[str, ...]
    settings: ChargerSettings
    step_s: float
    tell: Teller

    def case(self, settings: ChargerSettings | None = None) -> ChargerCase:
        """The samples of the story as something to try.

        Args:
            settings: for these; left out, for those of the shipped rendering.

        Raises:
            NotApplicableError: the story cannot be told for these settings; the text says why.
        """
        scene = Scene(self.settings, self.step_s, settings)
        self.tell(scene)
        cut = CUTS in self.requirements
        return ChargerCase(
            id=self.id,
            settings=self.settings if settings is None else settings,
            trace=scene.trace(),
            story=self.description,
            power_cycles=tuple(scene.cycles),
            cuts=tuple(range(_FIRST_CUT, len(scene), _CUT_EACH)) if cut else (),
            requirements=self.requirements,
        )


_RECIPES: dict[str, ChargerRecipe] = {}


def story(
    name: str,
    *,
    title: str,
    why: str,
    requirements: str,
    catches: tuple[str, ...],
    negative: str = "",
    tags: str = "",
    settings: ChargerSettings = HUT,
    step_s: float = 1.0,
) -> Callable[[Teller], Teller]:
    """Keep a function as the recipe of a vector; its docstring is the description.

    Ids and tags are written with blanks between them.
    """

    def keep(tell: Teller) -> Teller:
        if name in _RECIPES:
            raise ValueError(f"there are two stories {name}")
        _RECIPES[name] = ChargerRecipe(
            id=name,
            title=title,
            description=" ".join((tell.__doc__ or "").split()),
            why=why,
            requirements=tuple(sorted({*requirements.split(), *negative.split()})),
            negative=tuple(negative.split()),
            catches=catches,
            tags=tuple(tags.split()),
            settings=settings,
            step_s=step_s,
            tell=tell,
        )
        return tell

    return keep


@cache
def charger_recipes() -> tuple[ChargerRecipe, ...]:
    """Every recipe, sorted by id."""
    for module in _MODULES:
        import_module(f"harness.charger.stories.{module}")
    return tuple(_RECIPES[name] for name in sorted(_RECIPES))
