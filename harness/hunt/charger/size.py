"""How much there is to read in a case of a charger."""

from __future__ import annotations

import numpy as np

from ctrl.charger import ChargerSettings
from harness.charger.case import NO_STAGE, ChargerCase
from harness.charger.hunting.growing import USUAL_CELLS, cells_of
from harness.hunt.size import (
    CHANGE,
    COLUMN,
    CUT,
    MISSING,
    POWER_CYCLE,
    ROW,
    SETTING,
    column_size,
    differing_size,
    intervals_size,
    number_size,
    text_size,
)
from harness.run import Floats

PACK = 40.0
# A message that is shown again ages by the interval, or nearly.
AGES_WITHIN_S = 1e-6


def charger_size(case: ChargerCase) -> float:
    """The size of a case; smaller is easier to read."""
    trace, settings = case.trace, case.settings
    total = ROW * len(trace) + POWER_CYCLE * len(case.power_cycles) + CUT * len(case.cuts)
    total += PACK * (trace.packs - 1) + COLUMN * bool(np.any(trace.stage != NO_STAGE))
    total += differing_size(settings, usual_for(settings))
    total += SETTING * (cells_of(settings) != USUAL_CELLS)
    total += intervals_size(trace.t) + text_size(trace.t)
    for name in ("own_v", "own_a"):
        total += column_size(trace.column(name))
    for p in range(trace.packs):
        for table in (trace.request_v, trace.request_a, trace.pack_v, trace.pack_a):
            total += column_size(table[:, p])
        total += _ages_size(trace.t, trace.age_s[:, p])
    return total


def usual_for(settings: ChargerSettings) -> ChargerSettings:
    """The defaults for as many packs of as many cells."""
    return ChargerSettings.for_cells(cells_of(settings), packs=settings.packs)


def ages(t: Floats, age_s: Floats) -> Floats:
    """What each age would be if it only grew since the row before, s; NaN where that is not known."""
    grown_s: Floats = np.concatenate([[np.nan], age_s[:-1] + np.diff(t)])
    return grown_s


def _ages_size(t: Floats, age_s: Floats) -> float:
    """A message that is new, or that only ages, is read at a glance."""
    only_ages = np.abs(age_s - ages(t, age_s)) <= AGES_WITHIN_S
    new = age_s == 0.0
    odd = age_s[~only_ages & ~new]
    turns = int(np.count_nonzero(only_ages[1:] != only_ages[:-1]))
    missing = MISSING * int(np.count_nonzero(~np.isfinite(odd)))
    return CHANGE * (turns + len(odd)) + missing + sum(map(number_size, odd.tolist()))
