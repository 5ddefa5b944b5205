"""What lies between the charger and a pack, as a picture: difference over current, and its line."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

import numpy as np

from harness.explain.line import Line
from harness.explain.wiring import Apart, Between
from harness.report import svg
from harness.run import Floats

WIDTH, HEIGHT, LEFT, RIGHT, TOP, FOOT = 560, 300, 58, 14, 12, 40
TICKS = 5
# Points farther off the middle than so many times the scatter are left to the edge.
MOST_OFF = 12.0


def beyond(between: Between) -> int:
    """How many points lie beyond the edge of the picture."""
    x, y = between.points.current_a, 1e3 * between.points.difference_v
    if len(x) < 2:
        return 0
    plane = _Plane(x, y, between.line)
    return int(np.count_nonzero((y < plane.low) | (y > plane.high)))


def between_plot(name: str, between: Between) -> str:
    """The picture; empty where there is no point to draw.

    Args:
        name: the pack.
        between: what was found.
    """
    x, y = between.points.current_a, 1e3 * between.points.difference_v
    if len(x) < 2:
        return ""
    plane = _Plane(x, y, between.line)
    parts = [*_axes(plane), *_points(plane, x, y)]
    if between.line is not None:
        parts += _line(plane, between.line, sure=between.apart is Apart.YES)
    label = escape(f"{name}: charger's voltage less the pack's, over its current", quote=True)
    return (
        f'<svg class="still plane" role="img" aria-label="{label}" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}">{"".join(parts)}</svg>'
    )


class _Plane:
    """From A and mV to places on the picture."""

    def __init__(self, x: Floats, y: Floats, line: Line | None) -> None:
        low, high = float(y.min()), float(y.max())
        if line is not None:
            off = max(MOST_OFF * 1e3 * line.scatter, 2.0)
            ends = [1e3 * line.at(at) for at in (line.low_x, line.high_x)]
            low, high = max(low, min(ends) - off), min(high, max(ends) + off)
            low, high = min(low, *ends), max(high, *ends)
        low, high = min(low, 0.0), max(high, 0.0)
        room = max(0.06 * (high - low), 0.5)
        self.low, self.high = low - room, high + room
        span = max(float(np.ptp(x)), 0.5)
        self.left, self.right = min(float(x.min()), 0.0) - 0.03 * span, float(x.max()) + 0.03 * span

    def x(self, at: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (at - self.left) / (self.right - self.left)

    def y(self, at: float) -> float:
        at = min(max(at, self.low), self.high)
        return TOP + (HEIGHT - TOP - FOOT) * (self.high - at) / (self.high - self.low)


def _axes(plane: _Plane) -> Iterator[str]:
    bottom = HEIGHT - FOOT
    width, height = WIDTH - LEFT - RIGHT, bottom - TOP
    yield f'<rect class="frame" x="{LEFT}" y="{TOP}" width="{width}" height="{height}"/>'
    for value in _round_values(plane.left, plane.right):
        yield f'<path class="grid" d="M{plane.x(value):.1f} {TOP}V{bottom}"/>'
        yield svg.text(plane.x(value), bottom + 15, f"{value:g}", "middle")
    for value in _round_values(plane.low, plane.high):
        kind = "zero" if value == 0.0 else "grid"
        yield f'<path class="{kind}" d="M{LEFT} {plane.y(value):.1f}H{WIDTH - RIGHT}"/>'
        yield svg.text(LEFT - 5, plane.y(value) + 4, f"{value:g}", "end")
    yield svg.text(LEFT + width / 2, HEIGHT - 6, "current into the pack, A", "middle")
    yield (
        f'<text class="middle" transform="translate(12 {TOP + height / 2:.0f}) rotate(-90)">'
        "charger less pack, mV</text>"
    )


def _round_values(low: float, high: float) -> list[float]:
    """Round numbers between two, about as many as there is room for."""
    step = 10.0 ** np.floor(np.log10((high - low) / TICKS))
    step *= next(times for times in (1, 2, 5, 10) if (high - low) / (times * step) <= TICKS + 1)
    first, last = int(np.ceil(low / step)), int(np.floor(high / step))
    return [round(k * step, 9) + 0.0 for k in range(first, last + 1)]


def _points(plane: _Plane, x: Floats, y: Floats) -> Iterator[str]:
    dots = "".join(
        f"M{plane.x(a):.1f} {plane.y(b):.1f}h0" for a, b in zip(x.tolist(), y.tolist(), strict=True)
    )
    yield f'<path class="dots" d="{dots}"/>'


def _line(plane: _Plane, line: Line, *, sure: bool) -> Iterator[str]:
    at = np.linspace(line.low_x, line.high_x, 40).tolist()

    def along(times: float) -> list[str]:
        return [
            f"{plane.x(x):.1f} {plane.y(1e3 * (line.at(x) + times * line.error_at(x))):.1f}"
            for x in at
        ]

    band = "L".join([*along(1.0), *reversed(along(-1.0))])
    yield f'<path class="interval" d="M{band}z"/>'
    kind = "fit" if sure else "fit unsure"
    yield f'<path class="{kind}" d="M{"L".join(along(0.0))}"/>'
