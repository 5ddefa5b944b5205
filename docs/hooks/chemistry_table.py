"""The profiles of chemistries and where their numbers come from, from `ctrl.chemistry`."""

from __future__ import annotations

from ctrl.chemistry import PROFILES
from ctrl.figures import PER_AH, PER_CELL, Figure, Mark, Value
from ctrl.settings import SETTING_NAMES

SIGNS = {Mark.PRACTICE: "p", Mark.MEMORY: "m"}
REST = "full cell at rest, V"


def chemistry_table() -> str:
    """The table as Markdown: a row a setting, a column a profile, each number with its sign."""
    lines = [f"| setting | {' | '.join(PROFILES)} |", "|---|" + "---|" * len(PROFILES)]
    sources = _sources()
    for name in SETTING_NAMES:
        figures = [each.figures.get(name) for each in PROFILES.values()]
        if any(figures):
            lines.append(_row(f"`{name}`{_of(name)}", figures, sources))
    lines.append(_row(REST, [each.rest_cell_v for each in PROFILES.values()], sources))
    return "\n".join(lines)


def chemistry_sources() -> str:
    """What the signs of the table mean, and the sources by their numbers, as Markdown."""
    lines = ["| sign | where the number comes from |", "|---|---|"]
    lines += [f"| {sign} | {mark.value} |" for mark, sign in SIGNS.items()]
    lines += [f"| {number} | {source} |" for source, number in _sources().items()]
    return "\n".join(lines)


def _sources() -> dict[str, int]:
    told = [
        figure.source
        for each in PROFILES.values()
        for figure in (*each.figures.values(), each.rest_cell_v)
        if figure.mark is Mark.SOURCE
    ]
    return {source: number for number, source in enumerate(dict.fromkeys(told), start=1)}


def _of(name: str) -> str:
    if name in PER_CELL:
        return ", a cell"
    return ", each Ah" if name in PER_AH else ""


def _row(head: str, figures: list[Figure | None], sources: dict[str, int]) -> str:
    cells = [
        "" if figure is None else f"{_shown(figure.value)} ({_sign(figure, sources)})"
        for figure in figures
    ]
    return f"| {head} | {' | '.join(cells)} |"


def _sign(figure: Figure, sources: dict[str, int]) -> str:
    return SIGNS.get(figure.mark) or str(sources[figure.source])


def _shown(value: Value) -> str:
    if value is None:
        return "none"
    if isinstance(value, tuple):
        return " to ".join(f"{part:g}" for part in value)
    return value if isinstance(value, str) else f"{value:.7g}"
