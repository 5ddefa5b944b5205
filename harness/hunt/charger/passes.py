"""What the reducer tries on a case of a charger, in order."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import evolve, fields

from ctrl.charger.settings import CHARGER_PACK_VOLTAGES, CHARGER_SETTING_NAMES
from ctrl.errors import SettingsError
from harness.charger.case import NO_STAGE, ChargerCase, ChargerRun, ChargerTrace
from harness.charger.hunting.growing import USUAL_CELLS, cells_of
from harness.hunt.charger.size import ages, charger_size, usual_for
from harness.hunt.edit import Mask, with_column
from harness.hunt.fewer_rows import around, changed, extras, fewer_rows
from harness.hunt.passes import Edits
from harness.hunt.plainer_readings import PlainColumn, plainer_column
from harness.hunt.plainer_settings import PlainSettings, settings_brought_back
from harness.hunt.plainer_stamps import plainer_stamps
from harness.hunt.shorter_timers import timers_shortened

if TYPE_CHECKING:
    from harness.hunt.reduce import Reducer

TIMERS = ("steady_s", "stale_s", "silent_s", "sense_time_s", "frozen_s", "zero_s", "max_gap_s")
NAMES = tuple(name for name in CHARGER_SETTING_NAMES if name != "packs")
GROUPS = (
    tuple(name for name in NAMES if name not in TIMERS),
    TIMERS,
    ("highest_v", "fallback_v", "plausible_v"),
    ("highest_a", "fallback_a", "plausible_a"),
    ("stale_s", "silent_s"),
    ("compensation_v", "compensation_v_per_s", "sense_time_s", "max_gap_s"),
    ("raise_v_per_s", "raise_a_per_s"),
)
# What each column of a pack, and of the charger itself, is tried at, the plainest first.
AMPERES = (10.0, 0.0, 20.0, 50.0, 100.0)


def fewer_packs(reducer: Reducer) -> None:
    """Leave out one pack after the other."""
    for p in reversed(range(reducer.case.trace.packs)):
        case = reducer.case
        if case.trace.packs > 1:
            reducer.offer(_without_pack(case, p))


def _without_pack(case: ChargerCase, p: int) -> ChargerCase:
    tables = {
        field.name: np.delete(values, p, axis=1)
        for field in fields(ChargerTrace)
        for values in (getattr(case.trace, field.name),)
        if values.ndim == 2
    }
    settings = case.settings.changed(packs=case.settings.packs - 1)
    return evolve(case, settings=settings, trace=evolve(case.trace, **tables))


def no_stages(reducer: Reducer) -> None:
    """No stage is told: no rule reads it."""
    stage = np.full_like(reducer.case.trace.stage, NO_STAGE)
    reducer.offer(evolve(reducer.case, trace=evolve(reducer.case.trace, stage=stage)))


def plainer_charger_settings(reducer: Reducer) -> None:
    """Bring settings back to their defaults, wherever the failure does not need them."""
    _sixteen_cells(reducer)
    settings_brought_back(
        reducer,
        PlainSettings(names=NAMES, groups=GROUPS, usual=usual_for, levels=_levels),
    )


def _levels(case: ChargerCase) -> dict[str, tuple[str, ...]]:
    """Voltages follow the highest one and that of fallback, so that each stays on its side of it."""
    return dict.fromkeys(_columns(case, ("request_v", "pack_v"), "own_v"), ("highest_v",))


def _columns(case: ChargerCase, names: tuple[str, ...], *own: str) -> tuple[str, ...]:
    packs = range(1, case.trace.packs + 1)
    return (*own, *(f"{name}_{p}" for p, name in product(packs, names)))


def _sixteen_cells(reducer: Reducer) -> None:
    """Write the case for the usual number of cells, its pack voltages scaled."""
    case = reducer.case
    factor = USUAL_CELLS / cells_of(case.settings)
    if factor == 1.0:
        return

    def scaled(value: Any) -> Any:
        if isinstance(value, tuple):
            return tuple(map(scaled, value))
        return round(value * factor, 9)

    changes = {name: scaled(getattr(case.settings, name)) for name in CHARGER_PACK_VOLTAGES}
    try:
        case = evolve(case, settings=case.settings.changed(**changes))
    except SettingsError:
        return
    for name in _columns(case, ("request_v", "pack_v"), "own_v"):
        case = with_column(case, name, np.round(case.trace.column(name) * factor, 9))
    reducer.offer(case)


def shorter_charger_timers(reducer: Reducer) -> None:
    """Try shorter times for each timer, alone and with what it times."""
    timers_shortened(reducer, TIMERS, _bends)


def _bends(reducer: Reducer) -> list[Any]:
    """States, whether all messages are fresh, and what is asked for and read of the first pack."""
    trace, run = reducer.case.trace, reducer.shown.run
    fresh = np.all(trace.age_s <= reducer.case.settings.stale_s, axis=1)
    bends = [fresh, trace.pack_v[:, 0], trace.request_a[:, 0]]
    return bends if run is None else [run.answers.state, *bends]


def plainer_ages(reducer: Reducer) -> None:
    """A message is new, or it only ages; a stretch at a time."""
    for p in range(reducer.case.trace.packs):
        name = f"age_s_{p + 1}"
        reducer.offer(with_column(reducer.case, name, np.zeros(len(reducer.case.trace))))
        trace = reducer.case.trace
        fresh = trace.age_s[:, p] <= reducer.case.settings.stale_s
        news = np.flatnonzero(changed(fresh))
        rounded = np.where(fresh, 0.0, trace.age_s[:, p])
        reducer.offer(with_column(reducer.case, name, rounded))
        for k in news.tolist():
            _from(reducer, name, p, k)
        for k in range(1, len(reducer.case.trace)):
            age_s = reducer.case.trace.age_s[:, p].copy()
            grown_s = ages(reducer.case.trace.t, age_s)[k]
            for plain_s in (0.0, grown_s, 1.0):
                if plain_s != age_s[k] and np.isfinite(plain_s):
                    age_s[k] = plain_s
                    if reducer.offer(with_column(reducer.case, name, age_s)):
                        break


def _from(reducer: Reducer, name: str, p: int, k: int) -> None:
    """From row `k` on, while messages are old, the one before it only ages."""
    trace = reducer.case.trace
    age_s = trace.age_s[:, p].copy()
    stop = k
    while stop < len(age_s) and age_s[stop] > reducer.case.settings.stale_s:
        stop += 1
    if stop > k:
        age_s[k:stop] = age_s[k - 1] + (trace.t[k:stop] - trace.t[k - 1])
        reducer.offer(with_column(reducer.case, name, age_s))


def plainer_charger_readings(reducer: Reducer) -> None:
    """Make what packs ask for and read plainer, and what the charger reads."""
    names = ("pack_a", "pack_v", "request_a", "request_v")
    for name in _columns(reducer.case, names, "own_a", "own_v"):
        usual = _volts if "_v" in name else _amperes
        plainer_column(reducer, PlainColumn(name, usual, least=0, least_each=0))


def _volts(case: ChargerCase) -> tuple[float, ...]:
    asked = case.trace.request_v[np.isfinite(case.trace.request_v)]
    usual_v = float(np.median(asked)) if len(asked) else case.settings.fallback_v
    return (56.0 * cells_of(case.settings) / USUAL_CELLS, usual_v, case.settings.fallback_v)


def _amperes(_: ChargerCase) -> tuple[float, ...]:
    return AMPERES


def charger_marks(case: ChargerCase, run: ChargerRun | None) -> Mask:
    """The rows around changes of state, and of what is asked for, heard and read."""
    trace = case.trace
    marks = np.zeros(len(trace), np.bool_)
    if run is not None:
        marks |= around(changed(run.answers.state), 2)
    fresh = trace.age_s <= case.settings.stale_s
    asks = (trace.request_v, trace.request_a, np.isfinite(trace.pack_v))
    for table in (fresh, *asks):
        for p in range(trace.packs):
            marks |= around(changed(table[:, p]), 1)
    return marks


_SETTINGS_PASSES: tuple[Callable[[Reducer], None], ...] = (
    plainer_charger_settings,
    shorter_charger_timers,
)
CHARGER_EDITS = Edits(
    size=charger_size,
    marks=charger_marks,
    passes=(
        no_stages,
        extras,
        fewer_packs,
        fewer_rows,
        extras,
        *_SETTINGS_PASSES,
        fewer_packs,
        fewer_rows,
        plainer_stamps,
        plainer_ages,
        plainer_charger_readings,
    ),
    # To leave out a pack is to set how many there are.
    settings_passes=(*_SETTINGS_PASSES, fewer_packs),
)
