"""How much there is to read in a case: what the reducer makes smaller, and never larger.

One number, so that a step may trade one thing for another: a setting that is not its default is
worth two rows less, but not one.
"""

from __future__ import annotations

from math import isfinite, log10
from typing import Any

import numpy as np

from ctrl.settings import Settings
from harness.run import OPTIONAL_COLUMNS, Case, Floats

ROW = 10.0
SETTING = 12.0
COLUMN = 8.0
POWER_CYCLE = 6.0
CUT = 2.0
# A place where a reading changes, or the interval does; a character of a number.
CHANGE = 0.6
CHARACTER = 0.1
MISSING = 5.0
# A decade of time, in the trace or in a setting.
DECADE = 1.0
# A stamp that is not later than the one before it; a voltage above the one that is asked for.
NOT_LATER = 3.0
TOO_HIGH = 0.3
USUAL_SOC = 0.5


def size(case: Case) -> float:
    """The size of a case; smaller is easier to read."""
    trace = case.trace
    between = len(case.power_cycles) + len(case.equalise_requests)
    total = ROW * len(trace) + POWER_CYCLE * between + CUT * len(case.cuts)
    total += COLUMN * sum(name in OPTIONAL_COLUMNS for name in trace.columns)
    total += settings_size(case.settings) + number_size(case.soc) * (case.soc != USUAL_SOC)
    total += intervals_size(trace.t)
    total += TOO_HIGH * int(np.count_nonzero(trace.v > case.settings.absorption_v))
    for name in trace.columns:
        total += column_size(trace.column(name)) if name != "t" else text_size(trace.t)
    return total


def settings_size(settings: Settings) -> float:
    """The part of it that the settings are: each one that is not its default, by how it is written."""
    total = 0.0 if settings.cells == Settings().cells else SETTING
    return total + differing_size(settings, Settings.for_cells(settings.cells))


def differing_size(settings: Any, usual: Any) -> float:
    """The part that those settings are that differ from the usual ones of their role."""
    total = 0.0
    for name, value in settings.to_mapping().items():
        if value != getattr(usual, name):
            parts = value if isinstance(value, tuple) else (value,)
            total += SETTING + sum(number_size(p) for p in parts if isinstance(p, float))
            total += DECADE * log10(1.0 + value) if name.endswith("_s") and value else 0.0
    return total


def intervals_size(t: Floats) -> float:
    """The part that the distances between stamps are."""
    dt = np.diff(t)
    total = column_size(dt) + DECADE * log10(1.0 + float(np.nansum(np.abs(dt))))
    return total + NOT_LATER * int(np.count_nonzero(dt <= 0.0))


def column_size(values: Floats) -> float:
    """The part that one column of readings is: where it changes, and how its numbers are written."""
    changes = int(np.count_nonzero(values[1:] != values[:-1]))
    return CHANGE * changes + text_size(values)


def text_size(values: Floats) -> float:
    """The part that the text of some numbers is."""
    missing = int(np.count_nonzero(~np.isfinite(values)))
    return MISSING * missing + sum(map(number_size, values.tolist()))


def number_size(value: float) -> float:
    """The part that the text of one number is; nothing where it is missing."""
    return CHARACTER * len(f"{value:.12g}") if isfinite(value) else 0.0
