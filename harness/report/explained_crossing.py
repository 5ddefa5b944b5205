"""The moment that decides, magnified: the threshold, the dwell or timer, and what was missing."""

from __future__ import annotations

import numpy as np
from attrs import frozen

from harness.explain.bank_day import BankDay
from harness.explain.charge import ChargeDay
from harness.explain.explained import Explained
from harness.explain.reason import Cause, Reason, plain
from harness.report.drawing import Bar, Drawing, Measure, Moment
from harness.report.explained_focus import VOLTAGE, Focus, focus_of
from harness.report.explained_lines import (
    cell,
    current,
    lanes,
    least_v,
    symbols,
    temperature,
    voltage,
)
from harness.report.explained_rows import Along, positions, thinned
from harness.report.panels import Panel

# So many rows are shown; what is shown at first has half of them, and all of its own if it can.
MOST_ROWS = 2_400
# What stands around the moment, s: at first, and at most.
LEAST_NEAR_S, LEAST_AROUND_S = 30.0, 600.0
ROWS_NEAR, DWELLS_NEAR = 12, 3
MOST_OTHERS = 20


@frozen(eq=False)
class Crossing:
    """The moment, magnified.

    Attributes:
        title: what is magnified.
        told: what there is to see.
        drawing: the picture.
        every_row: whether every row of what is shown at first is in it.
    """

    title: str
    told: str
    drawing: Drawing
    every_row: bool


def crossing(explained: Explained, reason: Reason, along: Along) -> Crossing | None:
    """The moment that decides a reason; None where there is nothing to see."""
    bank = next(bank for bank in explained.banks if bank.day.number == reason.day)
    pack = next(pack for pack in bank.packs if pack.ruled.name == reason.pack)
    focus = focus_of(pack, reason)
    if focus is None:
        return None
    first, last, at = (pack.start + row for row in (focus.first, focus.last, focus.at))
    seen = along.at(first), along.at(last)
    near_s = max(LEAST_NEAR_S, ROWS_NEAR * along.step_s, _room_s(pack, focus, seen[1] - seen[0]))
    around_s = max(LEAST_AROUND_S, 2.0 * near_s)
    low, high = np.searchsorted(along.at_known, (seen[0] - around_s, seen[1] + around_s))
    begin, end = int(along.known[low]), int(along.known[max(high - 1, 0)]) + 1
    near = seen[0] - near_s, seen[1] + near_s
    close, far = (int(k) for k in np.searchsorted(along.at_known, near))
    near_first, near_behind = int(along.known[close]), int(along.known[max(far - 1, close)]) + 1
    shown = [pack.ruled.level_v, pack.ruled.log.trace.i]
    if pack.ruled.log.charger_v is not None:
        shown.append(pack.ruled.log.charger_v)
    rows = thinned(
        along, shown, first=begin, behind=end, most=MOST_ROWS,
        closer=(near_first, near_behind), kept=(first, last, at),
        gap_s=max(pack.settings.max_gap_s, 3.0 * along.step_s),
    )  # fmt: skip
    x = positions(along, rows)
    panels = _panels(pack, rows, focus, x, near, reason)
    drawing = Drawing(
        label=f"{reason.pack}: {focus.title}",
        x=x,
        steps=along.steps,
        at=int(np.argmin(np.abs(x - along.at(at)))),
        near=near,
        panels=panels,
        lanes=lanes(pack.ruled, along, begin, end),
        symbols=symbols(pack.ruled, along, begin, end, at),
        moments=(Moment(along.at(at), "here"), *_others(bank, pack, along, begin, end)),
        bars=_bars(pack, focus, along),
        measures=_measures(focus, along.at(at), len(panels)),
    )  # fmt: skip
    whole = np.count_nonzero((rows >= near_first) & (rows < near_behind)) >= far - close
    return Crossing(focus.title, focus.told, drawing, bool(whole))


def _room_s(pack: ChargeDay, focus: Focus, length_s: float) -> float:
    """How much is shown on each side of what there is to see, s."""
    if focus.level == "entry_v":
        return max(DWELLS_NEAR * pack.settings.entry_dwell_s, 0.15 * length_s)
    return max(min(0.5 * length_s, 300.0), 0.15 * length_s)


def _panels(
    pack: ChargeDay,
    rows: np.ndarray,
    focus: Focus,
    x: np.ndarray,
    near: tuple[float, float],
    reason: Reason,
) -> tuple[Panel, ...]:
    inside = (x >= near[0]) & (x <= near[1]) & (rows >= 0)
    levels = (focus.level,) if focus.level else ()
    height_v = least_v(pack.ruled.level_v[rows[inside]]) if inside.any() else 0.6
    found = [voltage(pack.ruled, rows, levels, height_v), current(pack.ruled, rows)]
    if reason.cause is Cause.PROTECTION:
        more = cell(pack.ruled, rows) if focus.measure else temperature(pack.ruled, rows)
        found += [] if more is None else [more]
    return tuple(found)


def _measures(focus: Focus, x: float, panels: int) -> tuple[Measure, ...]:
    if focus.measure is None or focus.measure[0] >= panels:
        return ()
    panel, read, asked, words = focus.measure
    return (Measure(panel, x, read, asked, words),)


def _bars(pack: ChargeDay, focus: Focus, along: Along) -> tuple[Bar, ...]:
    if focus.bar is None or not focus.level:
        return ()
    began, ended, asked_s, name = focus.bar
    start, held = along.at(pack.start + began), along.at(pack.start + ended)
    at = float(getattr(pack.settings, focus.level))
    words = f"{name}: {plain(round(held - start, 3))} s of {plain(asked_s)} s"
    # Where the distance to the threshold is drawn there is no room for words.
    above = focus.measure is None or focus.measure[0] != VOLTAGE or focus.measure[1] < at
    return (Bar(VOLTAGE, at, start, held, start + asked_s, words, above),)


def _others(bank: BankDay, pack: ChargeDay, along: Along, begin: int, end: int) -> list[Moment]:
    """When other packs entered float in these rows, which lowers the voltage for all."""
    t = along.t[begin:end]
    first_s, last_s = float(np.nanmin(t)), float(np.nanmax(t))
    found: list[tuple[float, str]] = []
    for other in bank.others(pack):
        stamps = other.trace.t[np.array(other.enters_float(), np.intp)]
        seen = stamps[(stamps >= first_s) & (stamps <= last_s)].tolist()
        found += [(at, other.ruled.name) for at in seen]
    return [
        Moment(along.at(along.row(at)), "other", f"{name} enters float")
        for at, name in sorted(found)[:MOST_OTHERS]
    ]
