"""A picture of kept samples as SVG: what is printed, and shown where no script runs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from harness.report import svg
from harness.report.excerpt import Excerpt
from harness.report.panels import Panel, across
from harness.report.roles import Told, told_of
from harness.report.svg import FOOT, GAP, LANE, LEFT, RIGHT, SHORT, TALL, WIDTH, Frame
from harness.run import Finding, Stages


def static_plot(excerpt: Excerpt, shown: Sequence[Panel], finding: Finding) -> str:
    """The picture.

    Args:
        excerpt: the kept samples.
        shown: its panels, from the top down.
        finding: what is wrong; its sample is marked.
    """
    x, called = across(excerpt)
    frame = Frame(x)
    parts: list[str] = []
    y = 0.0
    for place, panel in enumerate(shown):
        height = TALL if place == 0 else SHORT
        parts += svg.drawn_panel(frame, panel, y, height, excerpt.columns.get("shift_v"))
        y += GAP + height
        if place == 1:
            parts += _lanes(frame, excerpt, y)
            y += GAP + 2 * LANE
    parts += _moments(frame, excerpt, finding, y)
    parts += svg.ticks(frame, called, y)
    return svg.picture(f"Trace of {excerpt.case} around sample {finding.index}", y + FOOT, parts)


def _lanes(frame: Frame, excerpt: Excerpt, top: float) -> Iterator[str]:
    told = told_of(excerpt.role)
    yield svg.text(LEFT, top + 14, told.state, "title")
    top += GAP - 4
    for place, (name, stages) in enumerate(
        ((told.role, excerpt.stages), ("reference", excerpt.reference_stages))
    ):
        y = top + place * LANE
        yield svg.text(WIDTH - RIGHT + 5, y + 13, name, "name")
        if stages is None:
            words = "no answer" if place == 0 else "not asked"
            yield svg.text(LEFT + 4, y + 13, words, "small")
            continue
        yield from svg.lane(_pieces(frame, told, stages), y)
    for index in excerpt.resets:
        k = int(np.searchsorted(excerpt.indices, index))
        if k < len(frame.at):
            yield f'<circle class="reset" cx="{frame.at[k]:.1f}" cy="{top + LANE / 2}" r="4"/>'


def _pieces(frame: Frame, told: Told, stages: Stages) -> Iterator[tuple[float, float, str]]:
    edges = [0, *(np.flatnonzero(stages[1:] != stages[:-1]) + 1).tolist(), len(stages)]
    for first, behind in pairwise(edges):
        yield float(frame.edges[first]), float(frame.edges[behind]), told.words[stages[first]]


def _moments(frame: Frame, excerpt: Excerpt, finding: Finding, bottom: float) -> Iterator[str]:
    marked = [(index, "power lost") for index in excerpt.power_cycles]
    marked += [(index, "equalisation requested") for index in excerpt.equalise_requests]
    for index, words in marked:
        k = int(np.searchsorted(excerpt.indices, index))
        if k < len(frame.at):
            x = frame.at[k]
            yield f'<path class="power" d="M{x:.1f} {GAP - 4}V{bottom:.0f}"/>'
            yield svg.text(float(x) + 3, bottom + 8, words, "small")
    k = excerpt.position(finding)
    if k >= 0:
        x = frame.at[k]
        yield f'<path class="here" d="M{x:.1f} {GAP - 4}V{bottom:.0f}"/>'
