"""Lines, levels and lanes as SVG: what is printed, and shown where no script runs.

It has no colours of its own; the page gives them to its classes, so that it follows light and dark.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from html import escape
from itertools import pairwise

import numpy as np

from harness.report.panels import Line, Panel
from harness.report.words import number
from harness.run import Floats

WIDTH, LEFT, RIGHT = 760, 56, 132
TALL, SHORT, LANE, GAP, FOOT = 150, 64, 18, 24, 34
# Names that would stand nearer than this are left out; a letter is about so wide.
LEAST_APART, LETTER = 11.0, 5.6
TICKS = 6
# A point that is no further off, in the units of the picture, is left out.
NEAR_ENOUGH = 0.15


class Frame:
    """From positions from left to right to those on the picture.

    Attributes:
        low: what is at the left edge.
        high: what is at the right edge.
        x: the positions of the samples.
        at: where they are on the picture.
        edges: the same, and the right edge.
    """

    def __init__(self, x: Floats) -> None:
        """Samples at these positions, rising."""
        self.low, self.high = float(x[0]), float(x[-1])
        # A sample's stage holds until the next one; the last is drawn as long as the rest is.
        self.high += (self.high - self.low) / max(len(x) - 1, 1) or 1.0
        self.x = x
        self.at: Floats = self.place(x)
        self.edges: Floats = np.append(self.at, WIDTH - RIGHT)

    def place(self, x: Floats) -> Floats:
        """Where these positions are on the picture."""
        share: Floats = (x - self.low) / (self.high - self.low)
        return LEFT + (WIDTH - LEFT - RIGHT) * share

    def spot(self, x: float) -> float:
        """Where one position is on the picture."""
        return float(self.place(np.array([x]))[0])


def picture(label: str, height: float, parts: Iterable[str]) -> str:
    """The parts as one picture with a name."""
    return (
        f'<svg class="still" role="img" aria-label="{escape(label, quote=True)}" '
        f'viewBox="0 0 {WIDTH} {height:.0f}">{"".join(parts)}</svg>'
    )


def placed(panel: Panel, top: float, height: float) -> Callable[[Floats], Floats]:
    """Where values of a panel are on the picture from the top down."""
    span = panel.high - panel.low

    def place(values: Floats) -> Floats:
        clipped = np.clip(values, panel.low - 0.02 * span, panel.high + 0.02 * span)
        where: Floats = top + height * (panel.high - clipped) / span
        return where

    return place


def drawn_panel(
    frame: Frame, panel: Panel, top: float, height: float, shift_v: Floats | None = None
) -> Iterator[str]:
    """A panel: its title, then from `GAP - 4` under the top on its frame, levels and lines.

    Args:
        frame: where its samples are.
        panel: what is shown.
        top: where its title begins.
        height: of the frame.
        shift_v: by how much levels that temperature shifts stand higher at each sample, V.
    """
    unit = f", {panel.unit}" if panel.unit else ""
    yield text(LEFT, top + 14, escape(panel.title + unit), "title")
    top += GAP - 4
    span = panel.high - panel.low
    place = placed(panel, top, height)
    width = WIDTH - LEFT - RIGHT
    yield f'<rect class="frame" x="{LEFT}" y="{top:.0f}" width="{width}" height="{height:.0f}"/>'
    low, high = panel.low + 0.1 * span, panel.high - 0.1 * span
    for value in (low, high):
        at = float(place(np.array([value]))[0])
        yield text(LEFT - 5, at + 4, _told(value, span), "end")
    named: list[float] = []
    for level in panel.levels:
        values = np.full(len(frame.x), level.at)
        if level.shifted and shift_v is not None:
            values = values + shift_v
        y = place(values)
        yield path("level", frame.at, y, stepped=False)
        if all(abs(float(y[-1]) - other) >= LEAST_APART for other in named):
            named.append(float(y[-1]))
            yield text(WIDTH - RIGHT + 5, float(y[-1]) + 4, escape(level.text), "name")
    yield from _lines(frame, panel.lines, place)


def _told(value: float, span: float) -> str:
    """A value with as many digits as it takes to tell both ends of a panel apart."""
    digits = 4
    while (
        digits < 9
        and float(f"{value:.{digits}g}") != value
        and span < 10.0 ** (2 - digits) * abs(value)
    ):
        digits += 1
    return f"{value:.{digits}g}"


def _lines(frame: Frame, lines: Sequence[Line], place: Callable[[Floats], Floats]) -> Iterator[str]:
    named: list[float] = []
    top = float(place(np.array([np.inf]))[0]) + LEAST_APART / 2
    for line in lines:
        y = place(line.values)
        yield path(f"line {line.kind}", frame.at, y, stepped=line.stepped)
        if len(lines) > 1:
            known = np.flatnonzero(np.isfinite(y))
            if len(known):
                k = int(known[-1])
                at = _free(float(y[k]) - 4, named, top)
                named.append(at)
                yield text(float(frame.at[k]) - 4, at, escape(line.name), "end small")


def _free(wanted: float, named: Sequence[float], top: float) -> float:
    """The place for a name next to where it should stand: above it, or below where the panel ends."""

    def taken(at: float) -> bool:
        return any(abs(at - other) < LEAST_APART for other in named)

    at = wanted
    while taken(at):
        at -= LEAST_APART
    if at >= min(top, wanted):
        return at
    at = wanted
    while taken(at):
        at += LEAST_APART
    return at


def path(kind: str, x: Floats, y: Floats, *, stepped: bool) -> str:
    """A line with a gap wherever a value is missing; a lone value becomes a dot."""
    known = np.isfinite(y)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], known, [False]))))
    parts: list[str] = []
    for first, behind in edges.reshape(-1, 2).tolist():
        points = list(zip(x[first:behind].tolist(), y[first:behind].tolist(), strict=True))
        parts.append(f"M{points[0][0]:.1f} {points[0][1]:.1f}h.1")
        if stepped:
            steps = [points[k] for k in range(1, len(points)) if points[k][1] != points[k - 1][1]]
            parts += [f"H{at:.1f}V{value:.1f}" for at, value in steps]
            parts.append(f"H{points[-1][0]:.1f}")
        else:
            parts += [f"L{at:.1f} {value:.1f}" for at, value in _bends(points)]
    return f'<path class="{kind}" d="{"".join(parts)}"/>'


def _bends(points: Sequence[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    """The points behind the first without those that lie on the way to the next, near enough."""
    x0, y0 = points[0]
    low, high = -np.inf, np.inf
    for before, (x, y) in pairwise(points):
        run = x - x0
        if run > 0 and low <= (slope := (y - y0) / run) <= high:
            low, high = max(low, slope - NEAR_ENOUGH / run), min(high, slope + NEAR_ENOUGH / run)
            continue
        if before != (x0, y0):
            yield before
        (x0, y0), run = before, x - before[0]
        at = (y - y0) / run if run > 0 else 0.0
        room = NEAR_ENOUGH / run if run > 0 else np.inf
        low, high = at - room, at + room
    if points[-1] != points[0]:
        yield points[-1]


def lane(pieces: Iterable[tuple[float, float, str]], y: float) -> Iterator[str]:
    """Stages, one behind the other: where each begins and ends on the picture, and its word."""
    for start, stop, word in pieces:
        width = stop - start
        yield (
            f'<rect class="stage {word}" x="{start:.1f}" y="{y:.0f}" '
            f'width="{max(width, 0.5):.1f}" height="{LANE - 2}"/>'
        )
        if width > LETTER * len(word) + 6:
            yield text(start + 4, y + 12, word, f"on-{word}")


def ticks(
    frame: Frame, called: str, top: float, told: Callable[[float], str] | None = None
) -> Iterator[str]:
    """What stands under a picture: some positions, and what they are.

    Args:
        frame: where they are.
        called: what they are.
        top: where the picture ends.
        told: a position as text; a number where nothing is given.
    """
    for value in np.linspace(frame.low, float(frame.x[-1]), TICKS).tolist():
        words = number(float(f"{value:.6g}")) if told is None else told(value)
        yield text(frame.spot(value), top + 14, escape(words), "middle")
    yield text(WIDTH - RIGHT + 24, top + 14, escape(called), "name")


def text(x: float, y: float, words: str, kind: str) -> str:
    """Words that are markup already, at a place."""
    return f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}">{words}</text>'
