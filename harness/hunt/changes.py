"""What can be made of a case so that it is known what must become of the answers."""

from __future__ import annotations

from math import inf
from typing import Any

import numpy as np
from attrs import evolve

from ctrl.settings import Settings
from harness.run import Case, Flags, Floats, Trace

MOST_MESSAGES = 32
# Stamps are put on this grid: there the sum of a stamp and a shift is exact.
GRID_S = 1 / 1024
# A power of two, so that every product is exact.
CELLS_FACTOR = 2
# The settings that are voltages of the whole pack, or volts of it per degree.
PACK_VOLTAGES = (
    "absorption_v",
    "entry_v",
    "sag_v",
    "full_v",
    "float_v",
    "return_v",
    "empty_v",
    "compensation_v_per_c",
)
BEYOND_BELIEF = {"cell_max_v": 99.0, "temp_c": -99.0, "temp_max_c": 99.0}


def in_pieces(case: Case) -> Case:
    """The case cut into messages of one sample, or of as few as makes `MOST_MESSAGES` of them."""
    every = -(-len(case.trace) // MOST_MESSAGES)
    return evolve(case, cuts=tuple(range(0, len(case.trace), every)))


def with_stamps(case: Case, t: Floats) -> Case:
    """The case with other time stamps, s."""
    return evolve(case, trace=evolve(case.trace, t=t), expected=None)


def near_zero(t: Floats) -> Floats:
    """The same stamps from 0 on, each put on a grid on which sums with whole seconds are exact."""
    finite = t[np.isfinite(t)]
    first_s = finite[0] if len(finite) else 0.0
    near_s: Floats = np.round((t - first_s) / GRID_S) * GRID_S
    return near_s


def far_apart_s(t: Floats) -> float:
    """How far from the first stamp the farthest lies, s; infinity where there is no stamp."""
    finite = t[np.isfinite(t)]
    return float(np.abs(finite - finite[0]).max()) if len(finite) else inf


def more_cells(case: Case) -> Case:
    """The same on a pack of `CELLS_FACTOR` times as many cells, at as many times the voltages."""
    s, factor = case.settings, CELLS_FACTOR
    values: dict[str, Any] = {name: getattr(s, name) for name in PACK_VOLTAGES}
    scaled: dict[str, Any] = {n: v if v is None else factor * v for n, v in values.items()}
    low_v, high_v = s.plausible_v
    scaled |= {"cells": factor * s.cells, "plausible_v": (factor * low_v, factor * high_v)}
    settings = evolve(s, **scaled)
    trace = evolve(case.trace, v=factor * case.trace.v)
    return evolve(case, settings=settings, trace=trace, expected=None)


def with_full_v(case: Case, full_v: float) -> Case:
    """The case with another `full_v`, V."""
    settings: Settings = evolve(case.settings, full_v=full_v)
    return evolve(case, settings=settings, expected=None)


def valid_rows(case: Case) -> Flags:
    """Which samples are valid; shape (samples,)."""
    (low_v, high_v), (low_i, high_i) = case.settings.plausible_v, case.settings.plausible_i
    t, v, i = case.trace.t, case.trace.v, case.trace.i
    valid: Flags = np.isfinite(t) & (low_v <= v) & (v <= high_v) & (low_i <= i) & (i <= high_i)
    return valid


def joined_rows(case: Case) -> Flags:
    """Where the next sample follows a valid one without a gap; shape (samples - 1,)."""
    with np.errstate(invalid="ignore"):
        interval_s = np.diff(case.trace.t)
    follows: Flags = (interval_s >= 0.0) & (interval_s <= case.settings.max_gap_s)
    return follows & valid_rows(case)[:-1]


def with_more(case: Case, where: Flags) -> tuple[Case, Floats]:
    """The case with a sample more in the middle of some of its intervals, a copy of the one before.

    Args:
        case: what to change.
        where: of which intervals, shape (samples - 1,); left out where no stamp lies in between.

    Returns:
        The case, and for each of its samples its row in the original trace, a half where it was
        added.
    """
    t = case.trace.t
    with np.errstate(invalid="ignore"):
        middle_s = t[:-1] + 0.5 * np.diff(t)
        before = np.flatnonzero(where & (middle_s > t[:-1]) & (middle_s < t[1:]))
    at = np.sort(np.concatenate([np.arange(len(t), dtype=np.float64), before + 0.5]))
    rows = at.astype(np.intp)
    columns = {name: case.trace.column(name)[rows] for name in case.trace.columns}
    columns["t"][at != rows] = middle_s[before]

    def moved(indices: tuple[int, ...]) -> tuple[int, ...]:
        return tuple(int(np.searchsorted(at, float(index))) for index in indices)

    more = evolve(
        case,
        trace=Trace(**columns),
        expected=None,
        power_cycles=moved(case.power_cycles),
        cuts=moved(case.cuts),
        equalise_requests=moved(case.equalise_requests),
    )
    return more, at


def with_unreadable(case: Case) -> tuple[Case, Floats]:
    """The case with a sample that cannot be believed after every one that can; as `with_more`."""
    more, at = with_more(case, joined_rows(case))
    added = at != np.floor(at)
    wrong = {name: BEYOND_BELIEF[name] for name in more.trace.columns if name in BEYOND_BELIEF}
    columns = {
        name: np.where(added, value, more.trace.column(name))
        for name, value in ({"v": np.nan} | wrong).items()
    }
    return evolve(more, trace=evolve(more.trace, **columns)), at
