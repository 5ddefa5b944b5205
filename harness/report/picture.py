"""A picture of a simulated run: voltages, the threshold of the hold, currents, counts and stages.

It has to be readable without colours; `harness.report.bank_panels` says how.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from harness.errors import InputError
from harness.report.bank_panels import (
    CHARGER,
    DAY_BY_DAY_H,
    HOUR_S,
    LINES,
    MARKERS,
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
    refuse_without_library,
    short,
    time_axis,
)
from harness.report.simulated import Simulated
from harness.run import Floats
from harness.world.result import PackRows, Result

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw", "refuse_without_library"]

SHOWN_BELOW_MV = 80.0


def draw(simulated: Simulated, file: Path) -> None:
    """Draw a run into a file; its kind follows from the name.

    Raises:
        InputError: the library is missing, nothing was kept, or the file cannot be written.
    """
    refuse_without_library()
    result = simulated.result
    if not len(result.bank.t):
        raise InputError("there is nothing to draw: the run ended before the first step", file=file)
    with painted(file) as figure:
        heights = [2.5, 1.5, 1.4, 1.9, 0.24 * len(result.packs) + 0.1]
        panels = figure.subplots(5, 1, sharex=True, height_ratios=heights)
        figure.subplots_adjust(left=0.08, right=0.845, top=0.925, bottom=0.065, hspace=0.16)
        figure.text(0.08, 0.968, simulated.scenario.title, fontsize=13, weight="bold")
        figure.text(0.08, 0.944, _subtitle(simulated), fontsize=SMALL, color="#444444")
        _voltages(panels[0], result)
        _above_entry(panels[1], result)
        _currents(panels[2], result)
        _counts(panels[3], result)
        draw_stages(panels[4], result)
        time_axis(panels[4], result)
        for axes in panels[:4]:
            axes.yaxis.set_label_coords(-0.062, 0.5)


def _subtitle(simulated: Simulated) -> str:
    world = simulated.result.world
    days = "; highest of each day, over the band of that day"
    daily = days if world.duration_s > DAY_BY_DAY_H * HOUR_S else ""
    return (
        f"{simulated.scenario.name}: policy {world.bank.policy}, {len(world.packs)} x "
        f"{world.packs[0].pack.count} cells; simulated{daily}"
    )


def _voltages(axes: Axes, result: Result) -> None:
    h, rows = hours_of(result), result.bank
    labels = []
    draw_line(axes, h, rows.charger_v, CHARGER, LINES[0], width=0.9)
    labels.append(Label(last_of(rows.charger_v), "charger", CHARGER))
    for p, pack in enumerate(result.packs):
        pack_line(axes, p, h, pack.true_v)
        labels.append(Label(last_of(pack.true_v), short(pack.name), colour_of(p)))
    settings = result.world.packs[0].settings
    values = [rows.charger_v, *(pack.true_v for pack in result.packs)]
    low = min(float(np.nanmin(v)) for v in values)
    high = max(float(np.nanmax(v)) for v in values)
    room = 0.06 * max(high - low, 0.2)
    top = max(high, settings.absorption_v)
    axes.set_ylim(
        low - room, top + (3.0 if _mark_equalisations(axes, result, top + room) else 1.0) * room
    )
    for name in ("equalisation_v", "absorption_v", "entry_v", "full_v", "float_v", "return_v"):
        threshold = getattr(settings, name)
        if threshold is not None and threshold >= low - room:
            axes.axhline(threshold, color="#777777", linewidth=0.7, linestyle=(0, (1, 2)), zorder=1)
            labels.append(Label(threshold, f"{name} {threshold:g}", "#555555"))
    axes.set_ylabel("true voltage, V")
    name_lines(axes, labels)


def _mark_equalisations(axes: Axes, result: Result, at_v: float) -> bool:
    """Mark when each equalisation ended, and how; returns whether there were any."""
    marked = False
    for name, marker, told in (
        ("equalisation_ended", "v", "equalised"),
        ("equalisation_abandoned", "x", "abandoned"),
    ):
        ended_h = [event.t / HOUR_S for event in result.events if event.name == name]
        if ended_h:
            heights = [at_v] * len(ended_h)
            axes.plot(ended_h, heights, marker, color="#333333", markersize=4.5, label=told)
            marked = True
    if marked:
        axes.legend(loc="upper left", ncols=2, frameon=False, fontsize=SMALL, borderaxespad=0.1)
    return marked


def _above_entry(axes: Axes, result: Result) -> None:
    """Readings less the threshold of the hold: a few millivolts decide."""
    labels, tops, full_mv = [Label(0.0, "entry_v", "#555555")], [], 0.0
    axes.axhline(0.0, color="#333333", linewidth=0.9, zorder=1)
    for p, pack in enumerate(result.packs):
        settings = result.world.packs[p].settings
        t, reading = _readings(result, pack)
        above_mv = 1000.0 * (reading - settings.entry_v)
        if not np.isfinite(above_mv).any():
            continue
        pack_line(axes, p, t / HOUR_S, above_mv)
        top = float(np.nanmax(above_mv))
        tops.append(top)
        labels.append(Label(top, f"{short(pack.name)} top {top:+.0f} mV", colour_of(p)))
        full_mv = 1000.0 * (settings.full_v - settings.entry_v)
    highest = max(tops, default=0.0)
    low = min(0.0, highest) - SHOWN_BELOW_MV
    if low < full_mv < 0.0:
        axes.axhline(full_mv, color="#777777", linewidth=0.7, linestyle=(0, (1, 2)), zorder=1)
        labels.append(Label(full_mv, "full_v", "#555555"))
    axes.set_ylim(low, max(highest, 0.0) + 0.12 * (max(highest, 0.0) - low))
    axes.set_ylabel("reading less\nentry_v, mV")
    name_lines(axes, labels)


def _currents(axes: Axes, result: Result) -> None:
    h, rows = hours_of(result), result.bank
    axes.axhline(0.0, color="#999999", linewidth=0.6, zorder=1)
    draw_line(axes, h, rows.charger_a, CHARGER, LINES[0], width=0.9)
    labels = [Label(last_of(rows.charger_a), "charger", CHARGER)]
    for p, pack in enumerate(result.packs):
        pack_line(axes, p, h, pack.true_a)
        labels.append(Label(last_of(pack.true_a), short(pack.name), colour_of(p)))
    axes.set_ylabel("true current, A")
    name_lines(axes, labels)


def _counts(axes: Axes, result: Result) -> None:
    h = hours_of(result)
    labels = []
    for p, pack in enumerate(result.packs):
        colour, marker = colour_of(p), MARKERS[p % len(MARKERS)]
        for soc, line, word in ((pack.true_soc, LINES[0], "true"),
                                (pack.counted_soc, LINES[1], "counted")):  # fmt: skip
            if np.isfinite(soc).any():
                draw_line(axes, h, 100.0 * soc, colour, line, marker=marker, shift=p)
                end = 100.0 * last_of(soc)
                labels.append(Label(end, f"{short(pack.name)} {word} {end:.1f}", colour))
    axes.set_ylabel("state of charge, %\n(dashed: counted)")
    axes.margins(y=0.1)
    name_lines(axes, labels)


def _readings(result: Result, pack: PackRows) -> tuple[Floats, Floats]:
    if pack.samples is not None and len(pack.samples):
        return pack.samples.true_t, pack.samples.trace.v
    return result.bank.t, pack.true_v
