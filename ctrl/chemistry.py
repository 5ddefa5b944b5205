"""Profiles of chemistries: what a bank is set to before its cell maker's data are at hand.

A profile is a start, never a data sheet. Its numbers stand in `ctrl.figures`, each with its source or
its mark; here they become the settings of a bank. How absorption ends follows from them: LFP and NMC
by the hold; lead-acid by the current that has tapered off, and by a cap on the time where it does not.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from attrs import frozen

from ctrl.errors import SettingsError, nearest
from ctrl.fields import check_cells
from ctrl.figures import (
    LEAD_AGM,
    LEAD_FLOODED,
    LEAD_GEL,
    LFP,
    NMC,
    PER_AH,
    PER_CELL,
    REST,
    Figure,
    Value,
)

LIMITS_FIRST = (
    "The limits in the cell maker's data sheet, local codes and licensed practice come before any"
    " number of a profile."
)
GAS = (
    "Lead-acid cells give off hydrogen while they are charged, most of all in equalisation: hydrogen"
    " explodes. Ventilate the room, keep flames and sparks away, and leave the design to those who are"
    " licensed for it."
)
ACID = (
    "Equalisation costs water, makes acid mist and heat, and its voltage can harm what else is on the"
    " bus. Have the level of the acid checked before and after it, and never let it run unattended on"
    " cells whose maker does not ask for it."
)


@frozen
class Profile:
    """What is said of one chemistry.

    Attributes:
        name: the word by which it is chosen.
        title: the same in words.
        figures: settings by name, as `ctrl.figures` has them: for one cell, or each Ah.
        rest_cell_v: voltage of a full cell at rest, V.
        usual_cells: cells in series of the usual banks: nominally 12 V, 24 V and 48 V, where there
            are such.
        no_equalisation: why it must never be equalised; empty where it may be.
        cautions: what must be said wherever one of its numbers is.
    """

    name: str
    title: str
    figures: Mapping[str, Figure]
    rest_cell_v: Figure
    usual_cells: tuple[int, ...]
    no_equalisation: str
    cautions: tuple[str, ...]

    @property
    def rest_v(self) -> float:
        """Voltage of a full cell at rest, V."""
        value = self.rest_cell_v.value
        assert isinstance(value, float)
        return value

    @property
    def end_of_absorption(self) -> str:
        """What ends absorption, in words."""
        if "taper_a" in self.figures:
            return "current under taper_a, at the latest wait_limit_s after hold_s"
        return "hold_s"

    def settings(self, cells: int, capacity_ah: float) -> dict[str, Any]:
        """The settings of a bank by name; what is not in it has its default."""
        return {
            "cells": cells,
            "capacity_ah": capacity_ah,
            **{
                name: scaled(name, figure.value, cells, capacity_ah)
                for name, figure in self.figures.items()
            },
        }


def scaled(name: str, value: Value, cells: int, capacity_ah: float) -> Value:
    """The value of a setting of a bank, from that for one cell or each Ah."""
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, tuple):
        low, high = (scaled(name, part, cells, capacity_ah) for part in value)
        assert isinstance(low, float)
        assert isinstance(high, float)
        return low, high
    factor = cells if name in PER_CELL else capacity_ah if name in PER_AH else 1
    return round(value * factor, 9)


def profile(name: str) -> Profile:
    """The profile of a chemistry.

    Raises:
        SettingsError: there is none of that name; the hint names the nearest.
    """
    if name not in PROFILES:
        raise SettingsError(f"there is no chemistry {name!r}", hint=nearest(str(name), PROFILES))
    return PROFILES[name]


def bank_settings(
    name: str, cells: int, capacity_ah: float, changes: Mapping[str, Any]
) -> dict[str, Any]:
    """The settings of a bank of a chemistry, changed.

    Args:
        name: the chemistry.
        cells: cells in series.
        capacity_ah: usable capacity, Ah; a finite number greater than 0.
        changes: settings by name that differ from the profile.

    Raises:
        SettingsError: no such chemistry, no number of cells, or an equalisation where it is forbidden.
    """
    chosen = profile(name)
    check_cells(cells)
    refuse_equalisation(chosen, changes)
    return {**chosen.settings(cells, capacity_ah), **changes}


def refuse_equalisation(chosen: Profile, changes: Mapping[str, Any]) -> None:
    """Refuse an equalisation of cells that must have none; raises `SettingsError`."""
    voltage_v = changes.get("equalisation_v")
    if voltage_v is None or not chosen.no_equalisation:
        return
    raise SettingsError(
        f"equalisation_v is {voltage_v!r}, and {chosen.title} must not be equalised:"
        f" {chosen.no_equalisation} ({chosen.figures['equalisation_v'].told})",
        fields=("equalisation_v",),
        hint="leave it none; where the cell maker's own data ask for an equalisation, write all"
        " settings from those data and name no chemistry",
    )


_SEALED = (
    "its cells are sealed; gas leaves through the valve, the water in it cannot be replaced, and the"
    " cells dry out"
)
_NOT_LEAD = (
    "its cells have no acid to mix and take no overcharge; beyond its limit a cell vents or burns"
)
_LEAD_CELLS = (6, 12, 24)


def _lead(name: str, title: str, figures: Mapping[str, Figure], forbidden: str) -> Profile:
    cautions = (LIMITS_FIRST, GAS) if forbidden else (LIMITS_FIRST, GAS, ACID)
    return Profile(name, title, figures, REST[name], _LEAD_CELLS, forbidden, cautions)


PROFILES: Mapping[str, Profile] = MappingProxyType(
    {
        each.name: each
        for each in (
            Profile(
                "lfp",
                "lithium iron phosphate (LFP)",
                LFP,
                REST["lfp"],
                (4, 8, 16),
                _NOT_LEAD,
                (LIMITS_FIRST,),
            ),
            _lead("lead_flooded", "flooded lead-acid", LEAD_FLOODED, ""),
            _lead("lead_agm", "lead-acid in glass mat (AGM)", LEAD_AGM, _SEALED),
            _lead("lead_gel", "lead-acid in gel", LEAD_GEL, _SEALED),
            Profile(
                "nmc",
                "lithium nickel manganese cobalt oxide (NMC)",
                NMC,
                REST["nmc"],
                (7, 14),
                _NOT_LEAD,
                (LIMITS_FIRST,),
            ),
        )
    }
)
CHEMISTRIES = tuple(PROFILES)

# Under the first no LFP cell is charged, and from the second on no LFP cell would be.
_LEAD_UNDER_V, _NMC_FROM_V = 2.9, 3.8


def presumed(absorption_cell_v: float, equalises: bool) -> Profile:
    """The chemistry that settings are most likely meant for, where none is named.

    Args:
        absorption_cell_v: voltage of absorption of one cell, V.
        equalises: whether there is an equalisation.
    """
    if absorption_cell_v < _LEAD_UNDER_V:
        return PROFILES["lead_flooded" if equalises else "lead_agm"]
    return PROFILES["nmc" if absorption_cell_v >= _NMC_FROM_V else "lfp"]
