"""Pieces of pictures of a simulated bank: lines that are told apart without colours, names, stages.

Packs differ by marker and by line, stages by shade and hatch. The colours are those of Okabe and Ito
(Color Universal Design, 2008), which colour-blind readers can tell apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.util import find_spec
from itertools import pairwise
from math import ceil, isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.errors import InputError
from harness.run import Floats
from harness.world.result import Result

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INCHES, DOTS_PER_INCH = (12.0, 9.0), 100
CHARGER = "#000000"
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00")
LINES = ("-", (0, (5, 1.5)), (0, (5, 1.5, 1, 1.5)), (0, (1.5, 1.2)))
MARKERS = ("o", "s", "^", "D", "v", "P")
SHADES = {
    Stage.BULK: ("#ffffff", ""),
    Stage.ABSORPTION: ("#8a8a8a", ""),
    Stage.FLOAT: ("#dcdcdc", "///"),
    Stage.INHIBITED: ("#222222", "xxx"),
    Stage.EQUALISATION: ("#f2c48d", "..."),
}
# A line of more points than this would be finer than the picture, and make its file large.
BUCKETS = 700
MOST_LETTERS = 10
SMALL = 8.5
LABEL_GAP_POINTS = 10.5
HOUR_S = 3600.0
DAY_H = 24.0
DAY_BY_DAY_H = 14.0 * DAY_H
_TICKS_H = (0.25, 0.5, 1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 48.0, 168.0, 336.0, 720.0)
MOST_TICKS = 13


def refuse_without_library() -> None:
    """Raise `InputError` where the library that draws is missing."""
    if find_spec("matplotlib") is None:
        raise InputError(
            "a picture needs matplotlib, which is not installed",
            column="--plot",
            hint="pip install 'fullproof[plots]'",
        )


@contextmanager
def painted(file: Path) -> Iterator[Figure]:
    """An empty figure that is written into a file at the end; its kind follows from the name.

    Raises:
        InputError: the library is missing, or the file cannot be written.
    """
    refuse_without_library()
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    # The same run gives the same file; text in a vector picture stays text.
    style: Any = {"svg.hashsalt": "fullproof", "svg.fonttype": "none", "font.size": 9.5,
             "axes.spines.top": False, "axes.spines.right": False, "hatch.linewidth": 0.6}  # fmt: skip
    with mpl.rc_context(style):
        figure = Figure(figsize=INCHES, dpi=DOTS_PER_INCH, facecolor="white")
        FigureCanvasAgg(figure)
        yield figure
        metadata = {"Date": None} if file.suffix.lower() == ".svg" else {}
        try:
            figure.savefig(file, metadata=metadata)
        except OSError as error:
            raise InputError(f"cannot be written: {error.strerror}", file=file) from None


@frozen
class Label:
    """A name at the right end of what it names."""

    y: float
    text: str
    colour: str


def draw_stages(axes: Axes, result: Result) -> None:
    """Draw the stages of every pack as bands, with a star at each full reset."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    h, count = hours_of(result), len(result.packs)
    start = np.concatenate([[0.0], h[:-1]])
    for p, pack in enumerate(result.packs):
        edges = [0, *(np.flatnonzero(np.diff(pack.stage)) + 1).tolist(), len(h)]
        for first, last in pairwise(edges):
            shade, hatch = SHADES[Stage(pack.stage[first])]
            span = [(start[first], h[last - 1] - start[first])]
            axes.broken_barh(
                span, (count - 1 - p - 0.36, 0.72), facecolor=shade, hatch=hatch,
                edgecolor="#555555", linewidth=0.4,
            )  # fmt: skip
        resets = [event.t / HOUR_S for event in result.events
                  if event.pack == p and event.name == "full_reset"]  # fmt: skip
        size = 7.0 if len(resets) <= 30 else 2.5
        axes.plot(
            resets, [count - 1 - p] * len(resets), linestyle="none", marker="*", markersize=size,
            color="#000000", markeredgecolor="#ffffff", markeredgewidth=0.3, zorder=5,
        )  # fmt: skip
    axes.set_yticks(range(count), [short(pack.name) for pack in reversed(result.packs)])
    for tick, p in zip(axes.get_yticklabels(), reversed(range(count)), strict=True):
        tick.set_color(colour_of(p))
    axes.set_ylim(-0.5, count - 0.5)
    axes.tick_params(axis="y", length=0)
    keys: list[Any] = [
        Patch(facecolor=shade, hatch=hatch, edgecolor="#555555", linewidth=0.5, label=stage.word)
        for stage, (shade, hatch) in SHADES.items()
    ]
    keys.append(Line2D([], [], linestyle="none", marker="*", color="#000000", label="full reset"))
    axes.legend(
        handles=keys, loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False,
        fontsize=SMALL, labelspacing=0.15, borderaxespad=0.0, handlelength=1.8,
    )  # fmt: skip


def time_axis(axes: Axes, result: Result) -> None:
    """Label the axis of time with times of day."""
    world = result.world
    start_h, end_h = world.start_s / HOUR_S, float(hours_of(result)[-1])
    step_h = next((s for s in _TICKS_H if end_h / s <= MOST_TICKS), _TICKS_H[-1])
    first = ceil(start_h / step_h - 1e-9) * step_h
    at_h = np.arange(first, start_h + end_h + 1e-6, step_h)
    several = start_h + end_h > DAY_H + 1e-9
    axes.set_xticks(at_h - start_h, [_clock(h, days=several, whole=step_h >= DAY_H) for h in at_h])
    axes.set_xlim(0.0, end_h)
    word = "time of day" if not several else "day" if step_h >= DAY_H else "day and time of day"
    axes.set_xlabel(word)


def _clock(h: float, *, days: bool, whole: bool) -> str:
    minutes = round(60.0 * h)
    day, clock = minutes // 1440 + 1, f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"
    if not days:
        return clock
    return f"day {day}" if whole or clock == "00:00" else clock


def pack_line(axes: Axes, p: int, h: Floats, values: Floats) -> None:
    """Draw the course of a pack, in its line, colour and marker."""
    line, marker = LINES[p % len(LINES)], MARKERS[p % len(MARKERS)]
    draw_line(axes, h, values, colour_of(p), line, marker=marker, shift=p)


def draw_line(
    axes: Axes, h: Floats, values: Floats, colour: str, line: Any,
    *, width: float = 1.3, marker: str = "", shift: int = 0,
) -> None:  # fmt: skip
    """Draw a course: every point of a short one, each day's band of a long one."""
    if len(h) and h[-1] > DAY_BY_DAY_H:
        # Day and night would fill the panel: the band of each day, its highest as a line.
        x, low, y = _daily(h, values)
        axes.fill_between(x, low, y, color=colour, alpha=0.15, linewidth=0.0, zorder=2)
    else:
        x, y = _thinned(h, values)
    every = max(1, len(x) // 9)
    axes.plot(
        x, y, color=colour, linestyle=line, linewidth=width, marker=marker, markersize=4.5,
        markevery=(min(len(x) - 1, every // 2 + shift * every // 4), every),
        markerfacecolor="white", markeredgewidth=1.0, zorder=3,
    )  # fmt: skip


def _daily(h: Floats, values: Floats) -> tuple[Floats, Floats, Floats]:
    """Noon, lowest and highest of each day since the start; days without a value are left out."""
    known = np.isfinite(values)
    h, values = h[known], values[known]
    days, first = np.unique(np.floor((h - 1e-9) / DAY_H), return_index=True)
    if not len(first):
        return h, values, values
    lowest: Floats = np.minimum.reduceat(values, first)
    highest: Floats = np.maximum.reduceat(values, first)
    return np.asarray((days + 0.5) * DAY_H), lowest, highest


def _thinned(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest point of each of many short stretches: peaks stay."""
    if len(x) <= 2 * BUCKETS:
        return x, y
    edges = np.linspace(0, len(x), BUCKETS + 1).astype(int)
    filled = np.where(np.isfinite(y), y, np.nanmean(y) if np.isfinite(y).any() else 0.0)
    keep = {0, len(x) - 1}
    for first, last in pairwise(edges.tolist()):
        part = filled[first:last]
        keep |= {first + int(part.argmin()), first + int(part.argmax())}
    chosen = np.array(sorted(keep))
    return x[chosen], y[chosen]


def hours_of(result: Result) -> Floats:
    """Hours since the start of the kept rows."""
    return result.bank.t / HOUR_S


def last_of(values: Floats) -> float:
    """The last finite value; 0 where there is none."""
    finite = values[np.isfinite(values)]
    return float(finite[-1]) if len(finite) else 0.0


def short(name: str) -> str:
    """A name that fits beside a panel."""
    return name if len(name) <= MOST_LETTERS else name[: MOST_LETTERS - 1] + "…"


def colour_of(p: int) -> str:
    """The colour of a pack."""
    return COLOURS[p % len(COLOURS)]


def name_lines(axes: Axes, labels: Sequence[Label]) -> None:
    """Write names to the right of a panel, each at its height, none over another."""
    low, high = axes.get_ylim()
    figure = axes.get_figure()
    assert figure is not None
    panel_points = 72.0 * INCHES[1] * axes.get_position().height
    gap = LABEL_GAP_POINTS / panel_points
    # Of equal ones the first stands highest.
    inside = [label for label in reversed(labels) if isfinite(label.y)]
    ordered = sorted(inside, key=lambda label: label.y)
    wanted = [min(max((label.y - low) / (high - low), 0.0), 1.0) for label in ordered]
    for label, at, placed in zip(ordered, wanted, apart(wanted, gap), strict=True):
        axes.annotate(
            label.text, xy=(1.0, at), xytext=(1.022, placed), xycoords="axes fraction",
            textcoords="axes fraction", color=label.colour, fontsize=SMALL, va="center",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": "#aaaaaa", "linewidth": 0.6,
                        "shrinkA": 1.0, "shrinkB": 0.0, "relpos": (0.0, 0.5)},
        )  # fmt: skip


def apart(wanted: Sequence[float], gap: float) -> list[float]:
    """Heights at least `gap` apart, in the same order, as near to those wanted as that allows."""
    placed: list[list[float]] = []
    # Neighbours that would touch are moved together around the middle of what they want.
    for at in wanted:
        placed.append([at])
        while len(placed) > 1 and _top(placed[-2], gap) + gap > _bottom(placed[-1], gap):
            last = placed.pop()
            placed[-1] = [*placed[-1], *last]
    heights = [_bottom(block, gap) + k * gap for block in placed for k in range(len(block))]
    # Beyond the panel they would touch those of the next one.
    lowest = 0.0
    for k, at in enumerate(heights):
        heights[k] = max(at, lowest)
        lowest = heights[k] + gap
    highest = 1.0
    for k in reversed(range(len(heights))):
        heights[k] = min(heights[k], highest)
        highest = heights[k] - gap
    return heights


def _bottom(block: Sequence[float], gap: float) -> float:
    return sum(block) / len(block) - 0.5 * gap * (len(block) - 1)


def _top(block: Sequence[float], gap: float) -> float:
    return _bottom(block, gap) + gap * (len(block) - 1)
