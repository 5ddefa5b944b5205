"""Numbers and counts as text for people."""

from __future__ import annotations

import math

from ctrl.settings import Settings


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


def changed_settings(settings: Settings) -> str:
    """The cells, and each setting that is not what it is by default for so many."""
    usual = Settings.for_cells(settings.cells).to_mapping()
    changed = [
        f"{name} {'none' if value is None else value}"
        for name, value in settings.to_mapping().items()
        if value != usual[name]
    ]
    return ", ".join([f"{settings.cells} cells", *(changed or ["else the defaults"])])
