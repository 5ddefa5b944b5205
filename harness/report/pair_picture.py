"""A picture of a pair: voltages, what the packs read beside the request, currents, states and stages.

It has to be readable without colours; `harness.report.bank_panels` says how.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ctrl.charger import Conduct
from harness.charger.case import ChargerRun
from harness.errors import InputError
from harness.report.bank_panels import (
    CHARGER,
    HOUR_S,
    LINES,
    SMALL,
    Label,
    colour_of,
    draw_line,
    draw_stages,
    hours_of,
    last_of,
    name_lines,
    pack_line,
    painted,
    short,
    time_axis,
)
from harness.report.pair_words import verdict_sentence
from harness.report.paired import Paired
from harness.run import Floats
from harness.world.charger_course import above_request, lowest_request
from harness.world.result import Result

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BUS = "#777777"
SET_POINT = "#8a5a00"
REQUEST = "#555555"
STATES = {
    Conduct.FOLLOWING: ("#dcefe4", ""),
    Conduct.FALLBACK: ("#a8a8a8", "///"),
    Conduct.STOPPED: ("#222222", "xxx"),
}
SHOWN_MV = 450.0
MOST_LETTERS = 110


def draw_pair(paired: Paired, file: Path) -> None:
    """Draw a pair into a file; its kind follows from the name.

    Raises:
        InputError: the library is missing, nothing was kept, or the file cannot be written.
    """
    result, run = paired.result, paired.result.charger
    if not len(result.bank.t) or run is None or not len(run.answers):
        raise InputError("there is nothing to draw: the run ended before the first step", file=file)
    with painted(file) as figure:
        heights = [2.3, 2.0, 1.6, 0.3, 0.24 * len(result.packs) + 0.1]
        panels = figure.subplots(5, 1, sharex=True, height_ratios=heights)
        figure.subplots_adjust(left=0.08, right=0.825, top=0.925, bottom=0.065, hspace=0.17)
        verdict = verdict_sentence(paired)
        if len(verdict) > MOST_LETTERS:
            verdict = verdict[: MOST_LETTERS - 1] + "…"
        figure.text(0.08, 0.968, verdict, fontsize=12.5, weight="bold")
        figure.text(0.08, 0.944, _subtitle(paired, run), fontsize=SMALL, color="#444444")
        _voltages(panels[0], result, run)
        _beside_request(panels[1], result, run)
        _currents(panels[2], result, run)
        _states(panels[3], run)
        draw_stages(panels[4], result)
        time_axis(panels[4], result)
        for axes in panels[:3]:
            axes.yaxis.set_label_coords(-0.062, 0.5)


def _subtitle(paired: Paired, run: ChargerRun) -> str:
    controllers = ", ".join(dict.fromkeys(pack.identity.name for pack in paired.result.packs))
    return (
        f"{paired.scenario.name}: charger {run.identity.name}, controllers {controllers}; simulated"
    )


def _told_hours(run: ChargerRun) -> Floats:
    return np.asarray(run.case.trace.t / HOUR_S)


def _voltages(axes: Axes, result: Result, run: ChargerRun) -> None:
    h, rows, told_h = hours_of(result), result.bank, _told_hours(run)
    asked_v = lowest_request(run)
    draw_line(axes, h, rows.bus_v, BUS, LINES[3], width=1.1)
    draw_line(axes, h, rows.charger_v, CHARGER, LINES[0], width=0.9)
    draw_line(axes, told_h, run.answers.set_point_v, SET_POINT, LINES[1], width=1.1)
    draw_line(axes, told_h, asked_v, REQUEST, (0, (1, 2)), width=1.1)
    labels = [
        Label(last_of(rows.charger_v), "charger", CHARGER),
        Label(last_of(rows.bus_v), "bus", BUS),
        Label(last_of(run.answers.set_point_v), "set-point (dashed)", SET_POINT),
        Label(last_of(asked_v), "request (dotted)", REQUEST),
    ]
    for p, pack in enumerate(result.packs):
        pack_line(axes, p, h, pack.true_v)
        labels.append(Label(last_of(pack.true_v), short(pack.name), colour_of(p)))
    axes.set_ylabel("true voltage, V")
    axes.margins(y=0.06)
    name_lines(axes, labels)


def _beside_request(axes: Axes, result: Result, run: ChargerRun) -> None:
    """Set-point and readings less the request: what the line loses, and what is made good of it."""
    trace, told_h = run.case.trace, _told_hours(run)
    asked_v = lowest_request(run)
    above_mv = 1000.0 * above_request(run)
    axes.axhline(0.0, color="#333333", linewidth=0.9, zorder=1)
    entry_mv = 1000.0 * (
        result.world.packs[0].settings.entry_v - result.world.packs[0].settings.absorption_v
    )
    axes.axhline(entry_mv, color="#777777", linewidth=0.7, linestyle=(0, (1, 2)), zorder=1)
    draw_line(axes, told_h, above_mv, SET_POINT, LINES[1], width=1.2)
    labels = [
        Label(0.0, "request", REQUEST),
        Label(entry_mv, "entry_v", REQUEST),
        Label(last_of(above_mv), f"set-point {last_of(above_mv):+.0f} mV", SET_POINT),
    ]
    for p, pack in enumerate(result.packs):
        read_mv = 1000.0 * (trace.pack_v[:, p] - asked_v)
        if np.isfinite(read_mv).any():
            pack_line(axes, p, told_h, read_mv)
            last_mv = last_of(read_mv)
            labels.append(Label(last_mv, f"{short(pack.name)} {last_mv:+.0f} mV", colour_of(p)))
    top = np.nanmax(above_mv) if np.isfinite(above_mv).any() else 0.0
    axes.set_ylim(-SHOWN_MV, max(min(float(top), SHOWN_MV), 0.0) + 0.12 * SHOWN_MV)
    axes.set_ylabel("reading less\nrequest, mV")
    name_lines(axes, labels)


def _currents(axes: Axes, result: Result, run: ChargerRun) -> None:
    h, rows = hours_of(result), result.bank
    axes.axhline(0.0, color="#999999", linewidth=0.6, zorder=1)
    draw_line(axes, _told_hours(run), run.answers.limit_a, SET_POINT, LINES[1], width=1.1)
    draw_line(axes, h, rows.charger_a, CHARGER, LINES[0], width=0.9)
    labels = [
        Label(last_of(run.answers.limit_a), "limit (dashed)", SET_POINT),
        Label(last_of(rows.charger_a), "charger", CHARGER),
    ]
    for p, pack in enumerate(result.packs):
        pack_line(axes, p, h, pack.true_a)
        labels.append(Label(last_of(pack.true_a), short(pack.name), colour_of(p)))
    axes.set_ylabel("true current, A")
    axes.margins(y=0.08)
    name_lines(axes, labels)


def _states(axes: Axes, run: ChargerRun) -> None:
    """The state of the charger as a band."""
    from matplotlib.patches import Patch

    h, state = _told_hours(run), run.answers.state
    edges = [0, *(np.flatnonzero(np.diff(state)) + 1).tolist(), len(h) - 1]
    for first, last in pairwise(edges):
        shade, hatch = STATES[Conduct(state[first])]
        span = [(float(h[first]), float(h[last] - h[first]))]
        axes.broken_barh(
            span, (-0.36, 0.72), facecolor=shade, hatch=hatch, edgecolor="#555555", linewidth=0.4
        )
    axes.set_yticks([0], ["charger"])
    axes.set_ylim(-0.5, 0.5)
    axes.tick_params(axis="y", length=0)
    keys: list[Any] = [
        Patch(facecolor=shade, hatch=hatch, edgecolor="#555555", linewidth=0.5, label=conduct.word)
        for conduct, (shade, hatch) in STATES.items()
    ]
    axes.legend(
        handles=keys, loc="center left", bbox_to_anchor=(1.01, 0.75), frameon=False,
        fontsize=SMALL, labelspacing=0.15, borderaxespad=0.0, handlelength=1.8,
    )  # fmt: skip
