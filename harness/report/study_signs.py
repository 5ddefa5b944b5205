"""How an arm looks in the pictures: a colour and a dash, and a shape."""

from __future__ import annotations

from collections.abc import Sequence

from attrs import frozen

from harness.study.results import ArmName

COLOURS = 5
# Each is drawn as a path around its place.
SHAPES = (
    "m-4.5 0a4.5 4.5 0 1 0 9 0a4.5 4.5 0 1 0 -9 0z",
    "m-4 -4h8v8h-8z",
    "m0 -5.5l5 9h-10z",
    "m0 -6l5 6l-5 6l-5 -6z",
    "m0 5.5l5 -9h-10z",
    "m-4.5 -1.5h3v-3h3v3h3v3h-3v3h-3v-3h-3z",
)


@frozen
class Signs:
    """What tells arms apart in a picture.

    Attributes:
        coloured: what the colours stand for, in the order of the colours.
        shaped: what the shapes stand for, in their order; one where all have the same.
        colours: number of the colour of each arm.
        shapes: number of the shape of each arm.
    """

    coloured: tuple[str, ...]
    shaped: tuple[str, ...]
    colours: tuple[int, ...]
    shapes: tuple[int, ...]

    def kind(self, arm: int) -> str:
        """The class of an arm's colour."""
        return f"arm{self.colours[arm] % COLOURS}"

    def path(self, arm: int) -> str:
        """The shape of an arm, to stand behind the place that it is drawn around."""
        return SHAPES[self.shapes[arm] % len(SHAPES)]


def signs_of(arms: Sequence[ArmName]) -> Signs:
    """A colour for each rule and a shape for each policy; where one of them does not vary, another."""
    parts = {
        "rule": [arm.rule for arm in arms],
        "policy": [arm.policy for arm in arms],
        "settings": [arm.settings_text for arm in arms],
    }
    varied = [words for words in parts.values() if len(set(words)) > 1]
    colour = varied[0] if varied else parts["rule"]
    shape = varied[1] if len(varied) > 1 else [""] * len(arms)
    coloured, shaped = tuple(dict.fromkeys(colour)), tuple(dict.fromkeys(shape))
    return Signs(
        coloured,
        shaped,
        tuple(map(coloured.index, colour)),
        tuple(map(shaped.index, shape)),
    )
