"""Numbers and counts as text for people."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ctrl.settings import Settings

if TYPE_CHECKING:
    from ctrl.charger import ChargerSettings


def number(value: float) -> str:
    """A number with as many digits as it has, at most ten; `-` where there is none."""
    return f"{value:.10g}" if math.isfinite(value) else "-"


def count(how_many: int, thing: str, things: str = "") -> str:
    """`1 case`, `2 cases`, `no cases`."""
    plural = things or f"{thing}s"
    if how_many == 0:
        return f"no {plural}"
    return f"1 {thing}" if how_many == 1 else f"{how_many:,} {plural}"


def listed(words: list[str], most: int) -> str:
    """The first `most` words with commas, and how many more there are."""
    rest = len(words) - most
    return ", ".join(words[:most]) + (f" and {rest} more" if rest > 0 else "")


def changed_settings(settings: Settings | ChargerSettings) -> str:
    """The cells or packs, and each setting that is not what it is by default for so many."""
    named = settings.to_mapping()
    if isinstance(settings, Settings):
        usual, first = Settings.for_cells(settings.cells).to_mapping(), f"{settings.cells} cells"
    else:
        usual = type(settings)(packs=settings.packs).to_mapping()
        first = count(settings.packs, "pack")
    changed = [
        f"{name} {'none' if value is None else value}"
        for name, value in named.items()
        if value != usual[name]
    ]
    return ", ".join([first, *(changed or ["else the defaults"])])
