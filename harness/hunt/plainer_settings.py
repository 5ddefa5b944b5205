"""Plainer settings: back to their defaults, all at once, in groups, and one by one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import evolve, frozen

from ctrl.errors import SettingsError
from ctrl.settings import PACK_VOLTAGES, SETTING_NAMES, Settings
from harness.hunt.edit import with_column
from harness.run import Floats

if TYPE_CHECKING:
    from harness.hunt.reduce import Reducer

VOLTAGES = (*PACK_VOLTAGES, "sag_v")
TIMERS = (
    *("entry_dwell_s", "hold_s", "confirm_s", "wait_limit_s", "float_s", "return_dwell_s"),
    *("empty_dwell_s", "trip_dwell_s", "release_dwell_s", "max_gap_s"),
)
GROUPS: tuple[tuple[str, ...], ...] = (
    tuple(name for name in SETTING_NAMES if name not in ("cells", *TIMERS)),
    VOLTAGES,
    TIMERS,
    ("charge_min_c", "charge_max_c", "temp_band_c", "compensation_v_per_c", "reference_c"),
    ("cell_limit_v", "cell_release_v"),
    ("return_soc", "soc_ceiling", "charge_efficiency", "capacity_ah", "charge_current_a"),
    ("on_sag", "sag_v"),
    ("on_unconfirmed", "wait_limit_s", "confirm_s", "taper_a", "full_v"),
    ("empty_v", "empty_dwell_s"),
    ("plausible_v", "plausible_i"),
)
# The readings that follow a setting, so that each stays on its side of it and as near.
_LEVELS: dict[str, tuple[str, ...]] = {
    "v": ("absorption_v", "entry_v", "full_v", "sag_v", "float_v", "return_v", "empty_v"),
    "cell_max_v": ("cell_limit_v", "cell_release_v"),
    "temp_c": ("charge_min_c", "charge_max_c"),
    "temp_max_c": ("charge_min_c", "charge_max_c"),
}
ROUND_AH = (1.0, 10.0, 100.0)
MOST_DIGITS = 3


@frozen
class PlainSettings:
    """How the settings of a role are made plainer.

    Attributes:
        names: of the settings that may be changed.
        groups: of settings that are better brought back together.
        usual: takes settings, and gives the defaults for such packs.
        levels: takes a case, and says for each column of its trace which settings its readings
            follow.
        rounded: values that are tried beside the defaults.
    """

    names: tuple[str, ...]
    groups: tuple[tuple[str, ...], ...]
    usual: Callable[[Any], Any]
    levels: Callable[[Any], Mapping[str, tuple[str, ...]]]
    rounded: Mapping[str, tuple[float, ...]] = {}


_CONTROLLER = PlainSettings(
    names=tuple(name for name in SETTING_NAMES if name != "cells"),
    groups=GROUPS,
    usual=lambda settings: Settings.for_cells(settings.cells),
    levels=lambda _: _LEVELS,
    rounded={"capacity_ah": ROUND_AH},
)


def plainer_settings(reducer: Reducer) -> None:
    """Bring settings back to their defaults, wherever the failure does not need them."""
    _sixteen_cells(reducer)
    settings_brought_back(reducer, _CONTROLLER)


def settings_brought_back(reducer: Reducer, of: PlainSettings) -> None:
    """The same for any role."""
    if not _usual(reducer, of, of.names):
        for group in of.groups:
            _usual(reducer, of, group)
        for name in of.names:
            _usual(reducer, of, (name,))
    for name, values in of.rounded.items():
        for value in values:
            _offer(reducer, of, {name: value})
    for name in of.names:
        value = getattr(reducer.case.settings, name)
        if isinstance(value, float):
            for digits in range(MOST_DIGITS):
                plain = round(value, digits)
                if plain != value and _offer(reducer, of, {name: plain}):
                    break


def _usual(reducer: Reducer, of: PlainSettings, names: Sequence[str]) -> bool:
    """Try the defaults of these settings; whether they were taken."""
    settings = reducer.case.settings
    usual = of.usual(settings)
    changes = {name: getattr(usual, name) for name in names}
    if all(getattr(settings, name) == value for name, value in changes.items()):
        return False
    return _offer(reducer, of, changes)


def _offer(reducer: Reducer, of: PlainSettings, changes: dict[str, Any]) -> bool:
    case = reducer.case
    try:
        settings = case.settings.changed(**changes)
    except SettingsError:
        return False
    if reducer.offer(evolve(case, settings=settings)):
        return True
    follows = _following(case, settings, of.levels(case))
    return follows is not None and reducer.offer(follows)


def _following(case: Any, settings: Any, levels: Mapping[str, tuple[str, ...]]) -> Any:
    """The case with other settings, and with readings that moved with them; None where none do."""
    moved = evolve(case, settings=settings)
    for column, names in levels.items():
        if column not in case.trace.columns:
            continue
        pairs = [
            (was, now)
            for name in names
            for was, now in [(getattr(case.settings, name), getattr(settings, name))]
            if was is not None and now is not None
        ]
        if any(was != now for was, now in pairs):
            moved = with_column(moved, column, _with_levels(case.trace.column(column), pairs))
    return None if moved.trace is case.trace else moved


def _with_levels(values: Floats, pairs: Sequence[tuple[float, float]]) -> Floats:
    """Each reading moved as the level moved that it is nearest to."""
    was, now = (np.array(levels) for levels in zip(*pairs, strict=True))
    nearest = np.argmin(np.abs(values[:, None] - was[None, :]), axis=1)
    return np.asarray(np.round(values + (now - was)[nearest], 9))


def _sixteen_cells(reducer: Reducer) -> None:
    """Write the case for the usual number of cells, its pack voltages scaled."""
    case, cells = reducer.case, Settings().cells
    if case.settings.cells == cells:
        return
    factor = cells / case.settings.cells

    def scaled(value: Any) -> Any:
        if isinstance(value, tuple):
            return tuple(map(scaled, value))
        return None if value is None else round(value * factor, 9)

    changes = {n: scaled(getattr(case.settings, n)) for n in (*VOLTAGES, "compensation_v_per_c")}
    try:
        settings = case.settings.changed(cells=cells, **changes)
    except SettingsError:
        return
    scaled_v = np.round(case.trace.v * factor, 9)
    reducer.offer(evolve(with_column(case, "v", scaled_v), settings=settings))
