"""A picture of a part of a log as SVG: what is printed, and shown where no script runs."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from html import escape

import numpy as np
from attrs import evolve

from harness.report import svg
from harness.report.drawing import Drawing, Lane
from harness.report.panels import Panel
from harness.report.svg import FOOT, GAP, LANE, LEFT, RIGHT, SHORT, TALL, WIDTH, Frame

# Each thing that happens is drawn as a path around its place.
SHAPES = {
    "full_reset": "m-4 0a4 4 0 1 0 8 0a4 4 0 1 0 -8 0z",
    "hold_started": "m-4 -4l8 4l-8 4z",
    "hold_abandoned": "m-4 -4l8 8m0 -8l-8 8",
    "full_denied": "m-4 -4h8v8h-8z",
}


def still(drawing: Drawing, told: Callable[[float], str]) -> str:
    """The picture, of what is shown at first.

    Args:
        drawing: what is drawn.
        told: a position as text.
    """
    drawing = _shown(drawing)
    frame = Frame(drawing.x)
    parts: list[str] = []
    tops: list[tuple[float, float]] = []
    y = 0.0
    for place, panel in enumerate(drawing.panels):
        height = TALL if place == 0 else SHORT
        parts += svg.drawn_panel(frame, panel, y, height)
        tops.append((y + GAP - 4, height))
        y += GAP + height
        if place == 1 and drawing.lanes:
            parts += _lanes(frame, drawing, y)
            y += GAP + (len(drawing.lanes) + 1) * LANE
    parts += _bars(frame, drawing, tops)
    parts += _measures(frame, drawing, tops)
    parts += _moments(frame, drawing, y)
    parts += svg.ticks(frame, "", y, told)
    return svg.picture(drawing.label, y + FOOT, parts)


def _shown(drawing: Drawing) -> Drawing:
    if drawing.near is None:
        return drawing
    low, high = drawing.near
    inside = np.flatnonzero((drawing.x >= low) & (drawing.x <= high))
    if len(inside) < 2:
        return drawing
    # A row more on each side, so that lines come in from outside.
    part = slice(max(int(inside[0]) - 1, 0), int(inside[-1]) + 2)
    panels = tuple(
        _around(evolve(p, lines=tuple(evolve(line, values=line.values[part]) for line in p.lines)))
        for p in drawing.panels
    )
    return evolve(drawing, x=drawing.x[part], panels=panels)


def _around(panel: Panel) -> Panel:
    """A panel no higher than what is left of its lines, and the first of its thresholds."""
    values = np.concatenate([line.values for line in panel.lines])
    values = values[np.isfinite(values) & (values >= panel.low) & (values <= panel.high)]
    values = np.append(values, [level.at for level in panel.levels[:1]])
    if not len(values):
        return panel
    low, high = float(values.min()), float(values.max())
    room = max(0.15 * (high - low), panel.least / 4)
    low, high = low - room, high + room
    levels = tuple(level for level in panel.levels if low <= level.at <= high)
    return evolve(panel, low=low, high=high, levels=levels)


def _inside(frame: Frame, x: float) -> bool:
    return frame.low <= x <= frame.high


def _lanes(frame: Frame, drawing: Drawing, top: float) -> Iterator[str]:
    yield svg.text(LEFT, top + 14, "stages", "title")
    top += GAP - 4
    for place, lane in enumerate(drawing.lanes):
        y = top + place * LANE
        yield svg.text(WIDTH - RIGHT + 5, y + 13, escape(lane.name), "name")
        if lane.changes is None:
            yield svg.text(LEFT + 4, y + 13, "not in the log", "small")
            continue
        yield from svg.lane(_pieces(frame, lane), y)
    yield svg.text(WIDTH - RIGHT + 5, top + len(drawing.lanes) * LANE + 13, "events", "name")
    for each in drawing.symbols:
        if _inside(frame, each.x):
            x, y = frame.spot(each.x), top + each.lane * LANE + LANE / 2
            yield f'<path class="symbol {each.kind}" d="M{x:.1f} {y:.1f}{SHAPES[each.kind]}"/>'


def _pieces(frame: Frame, lane: Lane) -> Iterator[tuple[float, float, str]]:
    changes = lane.changes or ()
    ends = [*(start for start, _ in changes[1:]), frame.high]
    for (start, word), stop in zip(changes, ends, strict=True):
        start, stop = max(start, frame.low), min(stop, frame.high)
        if start < stop:
            yield frame.spot(start), frame.spot(stop), word


def _height(panel: Panel, top: tuple[float, float], value: float) -> float:
    return float(svg.placed(panel, *top)(np.array([value]))[0])


def _bars(frame: Frame, drawing: Drawing, tops: list[tuple[float, float]]) -> Iterator[str]:
    for bar in drawing.bars:
        y = _height(drawing.panels[bar.panel], tops[bar.panel], bar.y)
        x0, held, due = (
            frame.spot(min(max(x, frame.low), frame.high))
            for x in (bar.start, bar.held, bar.needed)
        )
        yield f'<path class="needed" d="M{x0:.1f} {y - 5:.1f}v10M{x0:.1f} {y:.1f}H{due:.1f}m0 -5v10"/>'
        yield f'<path class="held" d="M{x0:.1f} {y:.1f}H{held:.1f}"/>'
        at, kind = (x0, "small") if x0 < WIDTH / 2 else (due, "end small")
        yield svg.text(at, y - 8 if bar.above else y + 16, escape(bar.words), kind)


def _measures(frame: Frame, drawing: Drawing, tops: list[tuple[float, float]]) -> Iterator[str]:
    for each in drawing.measures:
        panel, top = drawing.panels[each.panel], tops[each.panel]
        x = frame.spot(each.x)
        y0, y1 = _height(panel, top, each.read), _height(panel, top, each.asked)
        ends = f"M{x - 4:.1f} {y0:.1f}h8M{x - 4:.1f} {y1:.1f}h8"
        yield f'<path class="measure" d="{ends}M{x:.1f} {y0:.1f}V{y1:.1f}"/>'
        yield svg.text(x + 7, (y0 + y1) / 2 + 14, escape(each.words), "strong")


def _moments(frame: Frame, drawing: Drawing, bottom: float) -> Iterator[str]:
    named: list[float] = []
    for each in drawing.moments:
        if not _inside(frame, each.x):
            continue
        x = frame.spot(each.x)
        yield f'<path class="moment {each.kind}" d="M{x:.1f} {GAP - 4}V{bottom:.0f}"/>'
        if each.words and all(abs(x - other) > 60.0 for other in named):
            named.append(x)
            kind = "small" if x < WIDTH / 2 else "end small"
            yield svg.text(x + (3 if x < WIDTH / 2 else -3), GAP + 8, escape(each.words), kind)
