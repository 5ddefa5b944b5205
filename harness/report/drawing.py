"""A picture of a part of a log, before anyone draws it: for the script of a page, and as SVG."""

from __future__ import annotations

from typing import Any

import numpy as np
from attrs import field, frozen

from harness.report.panels import Panel
from harness.run import Floats

DECIMALS, DECIMALS_OF_X = 6, 3


@frozen
class Lane:
    """Stages, one behind the other.

    Attributes:
        name: whose they are.
        changes: from which position on which stage is; None where nobody knows.
    """

    name: str
    changes: tuple[tuple[float, str], ...] | None


@frozen
class Symbol:
    """Something that happened.

    Attributes:
        x: where.
        lane: number of the lane, from the top.
        kind: what: `full_reset`, `hold_started`, `hold_abandoned` or `full_denied`.
    """

    x: float
    lane: int
    kind: str


@frozen
class Moment:
    """A line from the top down.

    Attributes:
        x: where.
        kind: how it is drawn: the name of its colour.
        words: what is written beside it; empty for nothing.
    """

    x: float
    kind: str
    words: str = ""


@frozen
class Bar:
    """A timer or dwell: how long it ran, and how long it had to.

    Attributes:
        panel: number of the panel, from the top.
        y: at which height, in the unit of the panel.
        start: where it began.
        held: where it ended.
        needed: where it would have been due.
        words: what is written beside it.
        above: whether that stands above the bar.
    """

    panel: int
    y: float
    start: float
    held: float
    needed: float
    words: str
    above: bool


@frozen
class Measure:
    """A distance between a line and a threshold.

    Attributes:
        panel: number of the panel, from the top.
        x: where.
        read: what was read there, in the unit of the panel.
        asked: what it is compared with.
        words: how far apart they are.
    """

    panel: int
    x: float
    read: float
    asked: float
    words: str


@frozen(eq=False)
class Drawing:
    """What is drawn.

    Attributes:
        label: what it is, for whoever cannot see it.
        x: where the samples stand, never falling; shape (samples,).
        steps: from which position on how much is taken off to come to a time, s.
        at: number of the sample that decides.
        near: what is shown at first: from where to where; all of it where this is None.
        panels: the panels, from the top down.
        lanes: lanes of stages, under the second panel.
        symbols: what happened, on the lanes.
        moments: lines through everything.
        bars: timers and dwells.
        measures: distances.
    """

    label: str
    x: Floats
    steps: tuple[tuple[float, float], ...]
    at: int
    near: tuple[float, float] | None
    panels: tuple[Panel, ...]
    lanes: tuple[Lane, ...] = field(default=())
    symbols: tuple[Symbol, ...] = field(default=())
    moments: tuple[Moment, ...] = field(default=())
    bars: tuple[Bar, ...] = field(default=())
    measures: tuple[Measure, ...] = field(default=())


def members(drawing: Drawing) -> dict[str, Any]:
    """What the script draws it from."""
    return {
        "x": np.round(drawing.x, DECIMALS_OF_X),
        "steps": drawing.steps,
        "at": drawing.at,
        "near": drawing.near,
        "panels": [
            {
                "title": panel.title,
                "unit": panel.unit,
                "low": panel.low,
                "high": panel.high,
                "least": panel.least,
                "lines": [
                    {
                        "name": line.name,
                        "kind": line.kind,
                        "stepped": line.stepped,
                        "values": np.round(line.values, DECIMALS),
                    }
                    for line in panel.lines
                ],
                "levels": [{"name": level.name, "at": level.at} for level in panel.levels],
            }
            for panel in drawing.panels
        ],
        "lanes": [{"name": lane.name, "changes": lane.changes} for lane in drawing.lanes],
        "symbols": [[each.x, each.lane, each.kind] for each in drawing.symbols],
        "moments": [[each.x, each.kind, each.words] for each in drawing.moments],
        "bars": [
            [each.panel, each.y, each.start, each.held, each.needed, each.words, each.above]
            for each in drawing.bars
        ],
        "measures": [
            [each.panel, each.x, each.read, each.asked, each.words] for each in drawing.measures
        ],
    }
