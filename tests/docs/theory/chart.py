"""Small charts as SVG, in one version for light pages and one for dark ones.

They are narrow, with letters large for their width, so that they can be read on a phone. Courses
differ by dashes as well as by colour; the colours are those of Okabe and Ito (Color Universal
Design, 2008), which colour-blind readers can tell apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

import numpy as np
import numpy.typing as npt
from attrs import frozen

from harness.report.svg import path

Floats = npt.NDArray[np.float64]

WIDTH, LEFT, RIGHT = 420, 50, 24
TITLE, KEY, AXIS, GAP = 20, 19, 40, 16
# About so wide is a letter.
LETTER = 6.9

_SHAPES = """
  text { font: 13.5px sans-serif } .title { font-weight: bold }
  .end { text-anchor: end } .middle { text-anchor: middle }
  .grid { stroke-width: 1 } .frame { fill: none; stroke-width: 1 }
  .line { fill: none; stroke-width: 2; stroke-linejoin: round }
  .second { stroke-dasharray: 7 3 } .third { stroke-dasharray: 2 2.5 } .fourth { stroke-dasharray: 9 3 2 3 }
  .level { fill: none; stroke-width: 1.5; stroke-dasharray: 3 4 } .moment { stroke-width: 1.2 }
"""
STYLES = {
    "light": """
  .panel { fill: #ffffff } text { fill: #1b1f24 } .grid { stroke: #e2e6ea } .frame { stroke: #8a949e }
  .first { stroke: #0072b2 } .second { stroke: #d55e00 } .third { stroke: #00795a }
  .fourth { stroke: #a3447f } .level, .moment { stroke: #1b1f24 }
""",
    "dark": """
  .panel { fill: #1e2129 } text { fill: #e6e8ec } .grid { stroke: #343945 } .frame { stroke: #7b8494 }
  .first { stroke: #56b4e9 } .second { stroke: #f0a060 } .third { stroke: #35c9a0 }
  .fourth { stroke: #e29bc4 } .level, .moment { stroke: #e6e8ec }
""",
}


@frozen(eq=False)
class Course:
    """A line of a chart.

    Attributes:
        name: what it is.
        kind: `first`, `second`, `third` or `fourth`: its dashes and its colour.
        x: positions, h; shape (n,).
        y: values, in the unit of the panel; shape (n,).
        stepped: whether a value holds until the next one.
    """

    name: str
    kind: str
    x: Floats
    y: Floats
    stepped: bool = False


@frozen
class Level:
    """A threshold: a level line with its name on it.

    Attributes:
        name: what it is.
        at: the value, in the unit of the panel.
        right: whether the name stands at the right end.
        under: whether the name stands under the line.
    """

    name: str
    at: float
    right: bool = True
    under: bool = False


@frozen
class Moment:
    """Something that happens: an upright line with its name at the top or the bottom.

    Attributes:
        name: what happens.
        x: when, h.
        share: how far down the name stands, 0 at the top to 1 at the bottom.
        before: whether the name stands to the left of the line.
    """

    name: str
    x: float
    share: float = 0.0
    before: bool = False


@frozen(eq=False)
class Panel:
    """One frame of a chart.

    Attributes:
        title: what is shown, with its unit.
        low: the lowest value that is shown.
        high: the highest.
        values: values that are written at the left.
        from_h: position of the left edge, h.
        to_h: of the right edge, h.
        hours: positions that are written below, each with its words.
        axis: what the positions are.
        courses: the lines.
        levels: the thresholds.
        moments: what happens.
        height: of the frame.
    """

    title: str
    low: float
    high: float
    values: Sequence[float]
    from_h: float
    to_h: float
    hours: Sequence[tuple[float, str]]
    axis: str
    courses: Sequence[Course]
    levels: Sequence[Level] = ()
    moments: Sequence[Moment] = ()
    height: int = 150

    def place_x(self, x: Floats) -> Floats:
        """Where positions are on the picture."""
        share: Floats = (x - self.from_h) / (self.to_h - self.from_h)
        return LEFT + (WIDTH - LEFT - RIGHT) * share


def chart(title: str, panels: Sequence[Panel], scheme: str) -> str:
    """A chart as the text of an SVG file.

    Args:
        title: what it shows, for those who cannot see it.
        panels: its frames, from the top down.
        scheme: `light` or `dark`.
    """
    parts: list[str] = []
    y = 6.0
    for number, panel in enumerate(panels):
        parts += _title_and_key(panel, y)
        y += TITLE + KEY * _rows(panel)
        parts += _framed(panel, y, f"clip{number}")
        y += panel.height + AXIS + GAP
    y -= GAP - 4
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {y:.0f}" role="img">',
            f"<title>{escape(title)}</title>",
            f"<style>{_SHAPES}{STYLES[scheme]}</style>",
            f'<rect class="panel" width="{WIDTH}" height="{y:.0f}" rx="6"/>',
            *parts,
            "</svg>\n",
        ]
    )


def _keyed(panel: Panel) -> list[list[Course]]:
    """The courses as rows of the key, each as full as it gets."""
    rows: list[list[Course]] = []
    room = 0.0
    for course in panel.courses:
        wide = 44 + LETTER * len(course.name)
        if wide > room:
            rows.append([])
            room = WIDTH - LEFT - RIGHT
        rows[-1].append(course)
        room -= wide
    return rows


def _rows(panel: Panel) -> int:
    return len(_keyed(panel))


def _title_and_key(panel: Panel, top: float) -> Iterator[str]:
    yield _text(8, top + 14, panel.title, "title")
    for number, row in enumerate(_keyed(panel)):
        x, y = float(LEFT), top + TITLE + number * KEY + 9
        for course in row:
            yield f'<path class="line {course.kind}" d="M{x:.0f} {y:.0f}h28"/>'
            yield _text(x + 33, y + 5, course.name, "")
            x += 44 + LETTER * len(course.name)


def _framed(panel: Panel, top: float, clip: str) -> Iterator[str]:
    right, bottom = WIDTH - RIGHT, top + panel.height

    def place_y(values: Floats) -> Floats:
        where: Floats = top + panel.height * (panel.high - values) / (panel.high - panel.low)
        return where

    def spot_y(value: float) -> float:
        return float(place_y(np.array([value]))[0])

    def spot_x(x: float) -> float:
        return float(panel.place_x(np.array([x]))[0])

    for value in panel.values:
        y = spot_y(value)
        yield f'<path class="grid" d="M{LEFT} {y:.1f}H{right}"/>'
        yield _text(LEFT - 5, y + 5, f"{value:.6g}".replace("-", "\u2212"), "end")
    for x, words in panel.hours:
        yield f'<path class="frame" d="M{spot_x(x):.1f} {bottom:.0f}v5"/>'
        yield _text(spot_x(x), bottom + 18, words, "middle")
    yield _text((LEFT + right) / 2, bottom + 35, panel.axis, "middle")
    yield (
        f'<clipPath id="{clip}"><rect x="{LEFT}" y="{top:.0f}" width="{right - LEFT}" '
        f'height="{panel.height}"/></clipPath><g clip-path="url(#{clip})">'
    )
    for course in panel.courses:
        inside = (course.x >= panel.from_h) & (course.x <= panel.to_h)
        across, down = panel.place_x(course.x[inside]), place_y(course.y[inside])
        yield path(f"line {course.kind}", across, down, stepped=course.stepped)
    yield "</g>"
    yield f'<rect class="frame" x="{LEFT}" y="{top:.0f}" width="{right - LEFT}" height="{panel.height}"/>'
    for level in panel.levels:
        y = spot_y(level.at)
        yield f'<path class="level" d="M{LEFT} {y:.1f}H{right}"/>'
        x, kind = (right - 5, "end") if level.right else (LEFT + 5, "")
        yield _text(x, y + 15 if level.under else y - 5, level.name, kind)
    for moment in panel.moments:
        at = spot_x(moment.x)
        yield f'<path class="moment" d="M{at:.1f} {top:.0f}V{bottom:.0f}"/>'
        y = top + 15 + moment.share * (panel.height - 22)
        yield _text(
            at - 5 if moment.before else at + 5, y, moment.name, "end" if moment.before else ""
        )


def _text(x: float, y: float, words: str, kind: str) -> str:
    of = f' class="{kind}"' if kind else ""
    return f'<text{of} x="{x:.1f}" y="{y:.1f}">{escape(words)}</text>'
