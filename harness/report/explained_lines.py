"""The panels and lanes that every picture of a pack of a log has."""

from __future__ import annotations

import numpy as np

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.explain.ruled import Ruled
from harness.logs.log import Indices
from harness.report.drawing import Lane, Symbol
from harness.report.explained_rows import Along, taken
from harness.report.panels import (
    LEAST_A,
    LEAST_C,
    LEAST_CELL_V,
    LEAST_SOC,
    LEAST_V,
    Level,
    Line,
    Panel,
    inside,
    panel_of,
)
from harness.run import Floats, Stages

# The events that are marked, and on which lane: what the log says, what the rules say, the rest.
OF_LOG, OF_RULES, OF_EVENTS = 0, 1, 2
MARKED = ("full_reset", "hold_started", "hold_abandoned", "full_denied")
# A picture has room for so many changes and marks; more are not told apart.
MOST_CHANGES, MOST_MARKS = 800, 300


def voltage(ruled: Ruled, rows: Indices, levels: tuple[str, ...], least_v: float) -> Panel:
    """The pack's voltage as thresholds see it, and the charger's where it is known.

    Args:
        ruled: the pack.
        rows: the rows that are shown.
        levels: settings that have to be seen; others are where they lie near.
        least_v: the least height of the panel, V.
    """
    settings, log = ruled.settings, ruled.log
    shifted = settings.compensation_v_per_c != 0.0
    name = "pack, shift by temperature taken off" if shifted else "pack"
    lines = [Line(name, "v", taken(ruled.level_v, rows))]
    if log.charger_v is not None:
        lines.append(Line("charger", "charger", taken(log.charger_v, rows)))
    asked = [Level(each, at) for each in levels if (at := _set_to(settings, each)) is not None]
    shown = panel_of(
        "voltage", "V", least_v, tuple(lines), (), lambda x: inside(x, settings.plausible_v)
    )
    room = 0.08 * (shown.high - shown.low)
    low = min([shown.low, *(level.at - room for level in asked)])
    high = max([shown.high, *(level.at + room for level in asked)])
    others = ("absorption_v", "sag_v", "float_v")
    near = [
        Level(each, at)
        for each in others
        if (at := _set_to(settings, each)) is not None
        and low <= at <= high
        and all(at != level.at for level in asked)
    ]
    return Panel("voltage", "V", low, high, least_v, tuple(lines), (*asked, *near))


def _set_to(settings: Settings, name: str) -> float | None:
    value = getattr(settings, name)
    return None if value is None else float(value)


def current(ruled: Ruled, rows: Indices) -> Panel:
    """The current into the pack."""
    settings = ruled.settings
    taper = () if settings.taper_a is None else (Level("taper_a", settings.taper_a),)
    line = Line("into the pack", "i", taken(ruled.log.trace.i, rows))
    return panel_of(
        "current", "A", LEAST_A, (line,), taper, lambda x: inside(x, settings.plausible_i)
    )


def cell(ruled: Ruled, rows: Indices) -> Panel | None:
    """The highest cell; None where it is not in the log."""
    column, limit_v = ruled.log.trace.cell_max_v, ruled.settings.cell_limit_v
    if column is None or limit_v is None:
        return None
    line = Line("highest cell", "cell", taken(column, rows))
    return panel_of("highest cell", "V", LEAST_CELL_V, (line,), (Level("cell_limit_v", limit_v),))


def temperature(ruled: Ruled, rows: Indices) -> Panel | None:
    """The temperatures; None where they are not in the log."""
    trace, settings = ruled.log.trace, ruled.settings
    lines = tuple(
        Line(name, kind, taken(column, rows))
        for name, kind in (("temp_c", "cold"), ("temp_max_c", "hot"))
        if (column := getattr(trace, name)) is not None
    )
    if not lines:
        return None
    levels = tuple(
        Level(name, at)
        for name in ("charge_min_c", "charge_max_c")
        if (at := _set_to(settings, name)) is not None
    )
    return panel_of("temperature", "degrees C", LEAST_C, lines, levels)


def counted(ruled: Ruled, rows: Indices) -> Panel | None:
    """The controller's count; None where it is not in the log."""
    if ruled.log.soc is None:
        return None
    line = Line("soc", "soc", taken(ruled.log.soc, rows), stepped=True)
    return panel_of("state of charge, as logged", "", LEAST_SOC, (line,), ())


def lanes(ruled: Ruled, along: Along, first: int, behind: int) -> tuple[Lane, ...]:
    """The stages that the log says, and those that the rules say."""
    return (
        Lane("log", _changes(ruled.log.stage, along, first, behind)),
        Lane("rules", _changes(ruled.stage, along, first, behind)),
    )


def _changes(
    stages: Stages | None, along: Along, first: int, behind: int
) -> tuple[tuple[float, str], ...] | None:
    if stages is None:
        return None
    part = stages[first:behind]
    rows = np.concatenate(([0], np.flatnonzero(part[1:] != part[:-1]) + 1))
    if len(rows) > MOST_CHANGES:
        # So many changes are a grey blur anyhow: the stage at some rows stands for them all.
        rows = np.linspace(0, len(part) - 1, MOST_CHANGES).astype(np.intp)
    return tuple((along.at(first + int(row)), Stage(part[row]).word) for row in rows)


def symbols(ruled: Ruled, along: Along, first: int, behind: int, near: int) -> tuple[Symbol, ...]:
    """What happened by the rules, and the full resets of the log; the nearest where they are many."""
    found: list[tuple[int, int, str]] = []
    if ruled.log.full_reset is not None:
        resets = first + np.flatnonzero(ruled.log.full_reset[first:behind])
        found += [(int(row), OF_LOG, "full_reset") for row in resets]
    for each in ruled.within(first, behind):
        if each.event.name in MARKED:
            lane = OF_RULES if each.event.name == "full_reset" else OF_EVENTS
            found.append((each.row, lane, each.event.name))
    found = sorted(found, key=lambda each: abs(each[0] - near))[:MOST_MARKS]
    return tuple(Symbol(along.at(row), lane, kind) for row, lane, kind in sorted(found))


def least_v(values: Floats) -> float:
    """The least height that a panel of voltages over so much is worth, V."""
    finite = values[np.isfinite(values)]
    return LEAST_V if not len(finite) else min(LEAST_V, max(float(np.ptp(finite)), 0.02))
