"""One measure in every arm as a row of marks with their intervals, one under the other."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from math import isfinite

from harness.report import svg
from harness.report.study_axis import Axis
from harness.report.study_signs import Signs
from harness.report.study_words import estimate_text, unit_text
from harness.study.measures import Measure
from harness.study.table import Estimate, Table

WIDTH, LEFT, RIGHT, TOP, FOOT, ROW = 760, 226, 184, 6, 36, 18
LETTER, TICKS = 5.8, 5
MOST_LETTERS = int((LEFT - 12) / LETTER)


def forest(table: Table, measure: Measure, signs: Signs) -> str:
    """The picture; empty where nothing is to be seen: not defined, or 0 in every arm.

    Args:
        table: of a study.
        measure: what is shown.
        signs: how arms look.
    """
    rows = table.of(measure.name)
    if not any(isfinite(each.value) and each.value != 0.0 for each in rows):
        return ""
    scale = 100.0 if measure.is_fraction else 1.0
    ends = [scale * end for each in rows for end in (each.value, each.low, each.high)]
    axis = Axis(ends, LEFT, WIDTH - RIGHT, rooted=True)
    bottom = TOP + ROW * len(rows)
    parts = [*_axis(axis, measure, bottom)]
    for k, each in enumerate(rows):
        parts += _row(table, signs, axis, each, scale, TOP + ROW * k + ROW / 2)
    label = escape(f"{measure.title} in every arm", quote=True)
    return (
        f'<svg class="still forest" role="img" aria-label="{label}" '
        f'viewBox="0 0 {WIDTH} {bottom + FOOT}">{"".join(parts)}</svg>'
    )


def _axis(axis: Axis, measure: Measure, bottom: float) -> Iterator[str]:
    width = WIDTH - LEFT - RIGHT
    yield f'<rect class="frame" x="{LEFT}" y="{TOP}" width="{width}" height="{bottom - TOP}"/>'
    for value in axis.ticks(TICKS):
        yield f'<path class="grid" d="M{axis.at(value):.1f} {TOP}V{bottom}"/>'
        yield svg.text(axis.at(value), bottom + 14, f"{value:g}", "middle")
    rooted = ", on a scale of square roots" if axis.rooted else ""
    told = escape(f"{unit_text(measure)}{rooted}")
    yield svg.text(LEFT + width / 2, bottom + 29, told, "middle")


def _row(
    table: Table, signs: Signs, axis: Axis, each: Estimate, scale: float, y: float
) -> Iterator[str]:
    name = table.facts.labels[each.arm]
    cut = name if len(name) <= MOST_LETTERS else f"{name[: MOST_LETTERS - 1]}…"
    told = f"{name}: {estimate_text(each)}{'; ' + each.note if each.note else ''}"
    yield f"<g><title>{escape(told)}</title>"
    yield svg.text(LEFT - 8, y + 4, escape(cut), "end strong-name")
    yield svg.text(WIDTH - RIGHT + 8, y + 4, escape(estimate_text(each)), "small")
    if isfinite(each.value):
        kind, x = signs.kind(each.arm), axis.at(scale * each.value)
        if isfinite(each.low):
            low, high = axis.at(scale * each.low), axis.at(scale * each.high)
            yield f'<path class="cross {kind}" d="M{low:.1f} {y:.1f}H{high:.1f}"/>'
            ends = f"M{low:.1f} {y - 4:.1f}v8M{high:.1f} {y - 4:.1f}v8"
            yield f'<path class="ends {kind}" d="{ends}"/>'
        yield f'<path class="mark {kind}" d="M{x:.1f} {y:.1f}{signs.path(each.arm)}"/>'
    yield "</g>"
