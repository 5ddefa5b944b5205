"""What the page's script draws the zoomable pictures from: each excerpt once, and each finding."""

from __future__ import annotations

from typing import Any

import numpy as np

from harness.report.catalogue import any_requirement
from harness.report.excerpt import Excerpt
from harness.report.panels import Panel, across, panels
from harness.report.result import Result
from harness.report.roles import told_of
from harness.report.store_excerpts import changes
from harness.run import Floats


def page_data(result: Result) -> tuple[dict[str, Any], dict[int, int]]:
    """The data of the script, and the number in it of each finding, by the finding's identity."""
    places = {id(excerpt): place for place, excerpt in enumerate(result.excerpts)}
    findings: list[dict[str, Any]] = []
    numbers: dict[int, int] = {}
    for finding in result.report.findings:
        excerpt = result.excerpt(finding)
        if excerpt is None:
            continue
        shown = panels(excerpt, any_requirement(finding.requirement).group)
        numbers[id(finding)] = len(findings)
        findings.append(
            {
                "excerpt": places[id(excerpt)],
                "at": excerpt.position(finding),
                "panels": [_panel(each) for each in shown],
            }
        )
    told = told_of(result.report.role)
    return {
        "role": told.role,
        "state": told.state,
        "excerpts": [_excerpt(each) for each in result.excerpts],
        "findings": findings,
    }, numbers


def _excerpt(excerpt: Excerpt) -> dict[str, Any]:
    x, axis = across(excerpt)
    told = told_of(excerpt.role)
    return {
        "x": x,
        "axis": axis,
        "columns": {
            name: _short(values)
            for name, values in excerpt.columns.items()
            if name != "t" or axis == "sample"
        },
        "stages": changes(excerpt.stages, told),
        "reference": changes(excerpt.reference_stages, told),
        "resets": _positions(excerpt, excerpt.resets),
        "cycles": _positions(excerpt, excerpt.power_cycles),
        "requests": _positions(excerpt, excerpt.equalise_requests),
        "clocks": [
            {"name": clock.name, "asked": clock.asked_s, "shows": clock.shows_s}
            for clock in excerpt.clocks
        ],
    }


def _short(values: Floats) -> Floats | float:
    """A column in which nothing changes as one number."""
    return float(values[0]) if np.all(values == values[0]) else values


def _positions(excerpt: Excerpt, indices: tuple[int, ...]) -> list[int]:
    """Where these samples stand among the kept ones, or the next one that was kept."""
    last = len(excerpt.indices) - 1
    return [int(k) for k in np.minimum(np.searchsorted(excerpt.indices, indices), last)]


def _panel(panel: Panel) -> dict[str, Any]:
    return {
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
                **(
                    {"clock": int(line.kind.removeprefix("clock"))}
                    if line.kind.startswith("clock")
                    else {"column": line.name}
                ),
            }
            for line in panel.lines
        ],
        "levels": [
            {"name": level.name, "at": level.at, "shifted": level.shifted} for level in panel.levels
        ],
    }
