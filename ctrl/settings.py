"""The settings of one pack's controller: names, units, defaults, and what contradicts what."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import attrs
from attrs import field, frozen

from ctrl.chemistry import bank_settings
from ctrl.fields import (
    Contradiction,
    check_cells,
    count_field,
    number_field,
    range_field,
    refuse_contradictions,
    refuse_unknown,
    scaled_to_cells,
    word_field,
)
from ctrl.limits import Limits, limits_of

ON_SAG_WORDS = ("run", "pause", "restart")
ON_UNCONFIRMED_WORDS = ("float", "bulk", "wait")


@frozen(kw_only=True)
class Settings:
    """Everything that can be set on one pack's controller. Defaults are for 16 LFP cells.

    The defaults are common practice, no source. The limits in the cell maker's data sheet,
    local codes and licensed practice come before anything that is set here.

    Attributes:
        cells: cells in series.
        capacity_ah: usable capacity, Ah.
        absorption_v: voltage asked for in bulk and absorption, V.
        entry_v: the pack's voltage must be at or above this to start the hold, V.
        entry_dwell_s: for how long, s.
        hold_s: length of the hold timer, s.
        sag_v: a voltage under this in the hold is a sag, V; None: as `entry_v`.
        on_sag: what a sag does to the hold timer: `run` on, `pause`, or `restart`.
        full_v: after the hold the voltage must be at or above this to allow the full reset, V.
        confirm_s: for how long, s.
        taper_a: the current must also be within plus or minus this during the confirmation, A;
            None: the current is not asked.
        on_unconfirmed: what follows a hold that is not confirmed: `float` without a full reset,
            back to `bulk`, or `wait` in absorption.
        wait_limit_s: with `wait`, the longest wait before float without a full reset, s.
        float_v: voltage asked for in float, V.
        float_s: length of the float timer, s; None: no limit.
        return_v: in float, a voltage below this returns to bulk, V.
        return_dwell_s: for how long, s.
        return_soc: in float, a state of charge below this returns to bulk, 0..1; None: off.
        charge_current_a: current asked for while charging is allowed, A.
        charge_efficiency: fraction of the charging current that is counted, 0..1.
        soc_ceiling: counting alone never raises the state of charge above this, 0..1.
        empty_v: a voltage at or below this sets the state of charge to 0, V; None: off.
        empty_dwell_s: for how long, s.
        cell_limit_v: protection trips when a cell is at or above this, V; None: off.
        cell_release_v: and lets go when every cell is at or below this, V.
        charge_min_c: charging is allowed at or above this temperature, degrees C; None: off.
        charge_max_c: charging is allowed at or below this temperature, degrees C; None: off.
        temp_band_c: protection lets go only this far inside the temperature limits, degrees C.
        trip_dwell_s: how long a trip condition must hold, s.
        release_dwell_s: how long a release condition must hold, s.
        max_gap_s: longest interval between samples that still counts as continuous, s.
        plausible_v: low and high bound of a believable voltage, V.
        plausible_i: low and high bound of a believable current, A.
        compensation_v_per_c: shift of the pack voltages with temperature, V per degree C;
            negative for lead-acid.
        reference_c: temperature at which that shift is zero, degrees C.
        compensation_min_c: a lower temperature shifts no further than this one, degrees C; None: off.
        compensation_max_c: a higher temperature shifts no further than this one, degrees C; None: off.
        sensor_lost_s: without a believable reading for so long the sensor is lost, and nothing is
            raised by it, s; None: the last reading counts for ever.
        sensor_frozen_s: so is one that has not changed for so long, s; None: off.
        sensor_jump_c: a reading further than this from the last believed one is not believed, K;
            None: every reading is.
        equalisation_v: voltage asked for in equalisation, V; None: there is none. Never set it for
            a chemistry whose cell maker does not ask for it.
        equalisation_s: length of an equalisation, s.
        equalisation_every_s: how long after one the next is due, s; None: by request only.
        equalisation_max_c: it runs only at or below this temperature, degrees C; None: off.
        equalisation_loss_s: without charging current for so long it is abandoned, s.
        equalisation_retry_s: how long after one that was abandoned the next is tried, s.
    """

    cells: int = count_field(16)
    capacity_ah: float = number_field(280.0, "greater than 0")
    absorption_v: float = number_field(56.0)
    entry_v: float = number_field(55.8)
    entry_dwell_s: float = number_field(3.0, "0 or greater")
    hold_s: float = number_field(3600.0, "greater than 0")
    sag_v: float | None = number_field(None, optional=True)
    on_sag: str = word_field("run", ON_SAG_WORDS)
    full_v: float = number_field(55.6)
    confirm_s: float = number_field(0.0, "0 or greater")
    taper_a: float | None = number_field(None, "0 or greater", optional=True)
    on_unconfirmed: str = word_field("float", ON_UNCONFIRMED_WORDS)
    wait_limit_s: float = number_field(3600.0, "greater than 0")
    float_v: float = number_field(54.0)
    float_s: float | None = number_field(None, "greater than 0", optional=True)
    return_v: float = number_field(53.0)
    return_dwell_s: float = number_field(60.0, "0 or greater")
    return_soc: float | None = number_field(0.9, "0 or greater and less than 1", optional=True)
    charge_current_a: float = number_field(100.0, "0 or greater")
    charge_efficiency: float = number_field(1.0, "greater than 0 and at most 1")
    soc_ceiling: float = number_field(0.99, "greater than 0 and at most 1")
    empty_v: float | None = number_field(44.8, optional=True)
    empty_dwell_s: float = number_field(10.0, "0 or greater")
    cell_limit_v: float | None = number_field(3.65, optional=True)
    cell_release_v: float = number_field(3.50)
    charge_min_c: float | None = number_field(0.0, optional=True)
    charge_max_c: float | None = number_field(45.0, optional=True)
    temp_band_c: float = number_field(3.0, "0 or greater")
    trip_dwell_s: float = number_field(1.0, "0 or greater")
    release_dwell_s: float = number_field(10.0, "0 or greater")
    max_gap_s: float = number_field(30.0, "greater than 0")
    plausible_v: tuple[float, float] = range_field((16.0, 64.0))
    plausible_i: tuple[float, float] = range_field((-500.0, 500.0))
    compensation_v_per_c: float = number_field(0.0)
    reference_c: float = number_field(25.0)
    compensation_min_c: float | None = number_field(None, optional=True)
    compensation_max_c: float | None = number_field(None, optional=True)
    sensor_lost_s: float | None = number_field(None, "greater than 0", optional=True)
    sensor_frozen_s: float | None = number_field(None, "greater than 0", optional=True)
    sensor_jump_c: float | None = number_field(None, "greater than 0", optional=True)
    equalisation_v: float | None = number_field(None, optional=True)
    equalisation_s: float = number_field(3600.0, "greater than 0")
    equalisation_every_s: float | None = number_field(None, "greater than 0", optional=True)
    equalisation_max_c: float | None = number_field(40.0, optional=True)
    equalisation_loss_s: float = number_field(60.0, "0 or greater")
    equalisation_retry_s: float = number_field(86400.0, "0 or greater")
    limits: Limits = field(init=False, repr=False, eq=False)

    def __attrs_post_init__(self) -> None:
        refuse_contradictions(self, _CONTRADICTIONS)
        # Settings are frozen; what follows from them is worked out once, not at every sample.
        object.__setattr__(self, "limits", limits_of(self))

    @classmethod
    def for_cells(cls, /, cells: int, **changes: Any) -> Settings:
        """The defaults with the pack voltages scaled to `cells` in series, then `changes`.

        Raises:
            SettingsError: an unknown name, or a value that a setting cannot have.
        """
        refuse_unknown(changes, SETTING_NAMES)
        check_cells(cells)
        scaled = {name: scaled_to_cells(getattr(cls(), name), cells) for name in PACK_VOLTAGES}
        return cls(**{"cells": cells, **scaled, **changes})

    @classmethod
    def for_chemistry(
        cls, name: str, /, cells: int, capacity_ah: float, **changes: Any
    ) -> Settings:
        """The profile of a chemistry for a bank, then `changes`; see `ctrl.chemistry`.

        Args:
            name: the chemistry, one of `ctrl.chemistry.CHEMISTRIES`.
            cells: cells in series.
            capacity_ah: usable capacity, Ah.
            changes: settings that differ from the profile.

        Raises:
            SettingsError: no such chemistry, an unknown name, a value that a setting cannot have, or
                an equalisation of cells that must have none.
        """
        refuse_unknown(changes, SETTING_NAMES)
        # Refused with the setting's own words, before anything is multiplied by it.
        capacity_ah = cls(capacity_ah=capacity_ah).capacity_ah
        return cls(**bank_settings(name, cells, capacity_ah, changes))

    def changed(self, /, **changes: Any) -> Settings:
        """These settings with some of them changed, checked again; raises `SettingsError`."""
        refuse_unknown(changes, SETTING_NAMES)
        return Settings(**{**self.to_mapping(), **changes})

    def to_mapping(self) -> dict[str, Any]:
        """Every setting by name, in the order of the settings table; ranges are tuples."""
        return {name: getattr(self, name) for name in SETTING_NAMES}

    @classmethod
    def from_mapping(cls, values: Mapping[str, Any]) -> Settings:
        """Settings from names and values; what is not named has its default.

        Raises:
            SettingsError: an unknown name, or a value that a setting cannot have.
        """
        refuse_unknown(values, SETTING_NAMES)
        return cls(**values)


PACK_VOLTAGES = (
    "absorption_v",
    "entry_v",
    "full_v",
    "float_v",
    "return_v",
    "empty_v",
    "plausible_v",
    "equalisation_v",
)
SETTING_NAMES = tuple(a.name for a in attrs.fields(Settings) if a.init)
OPTIONAL_SETTINGS = (
    "sag_v",
    "taper_a",
    "float_s",
    "return_soc",
    "empty_v",
    "cell_limit_v",
    "charge_min_c",
    "charge_max_c",
    "compensation_min_c",
    "compensation_max_c",
    "sensor_lost_s",
    "sensor_frozen_s",
    "sensor_jump_c",
    "equalisation_v",
    "equalisation_every_s",
    "equalisation_max_c",
)

# The complete list: what is not here is legal, if perhaps unwise.
_CONTRADICTIONS: tuple[Contradiction, ...] = (
    (("full_v", "entry_v"), lambda full, entry: full <= entry, "full_v <= entry_v"),
    (("entry_v", "absorption_v"), lambda entry, top: entry <= top, "entry_v <= absorption_v"),
    (("sag_v", "entry_v"), lambda sag, entry: sag <= entry, "sag_v <= entry_v"),
    (("return_v", "float_v"), lambda back, flt: back < flt, "return_v < float_v"),
    (("float_v", "absorption_v"), lambda flt, top: flt <= top, "float_v <= absorption_v"),
    (("empty_v", "return_v"), lambda empty, back: empty < back, "empty_v < return_v"),
    (
        ("cell_release_v", "cell_limit_v"),
        lambda release, limit: release < limit,
        "cell_release_v < cell_limit_v",
    ),
    (
        ("absorption_v", "cells", "cell_limit_v"),
        lambda top, cells, limit: top < cells * limit,
        "absorption_v < cells * cell_limit_v",
    ),
    (
        ("charge_min_c", "temp_band_c", "charge_max_c"),
        lambda low, band, high: low + 2 * band < high,
        "charge_min_c + 2 * temp_band_c < charge_max_c",
    ),
    (
        ("absorption_v", "plausible_v"),
        lambda top, plausible: plausible[0] <= top <= plausible[1],
        "absorption_v inside plausible_v",
    ),
    (
        ("empty_v", "plausible_v"),
        lambda empty, plausible: plausible[0] <= empty <= plausible[1],
        "empty_v inside plausible_v",
    ),
    (
        ("compensation_min_c", "reference_c"),
        lambda low, reference: low <= reference,
        "compensation_min_c <= reference_c",
    ),
    (
        ("compensation_max_c", "reference_c"),
        lambda high, reference: reference <= high,
        "reference_c <= compensation_max_c",
    ),
    (
        ("absorption_v", "equalisation_v"),
        lambda top, equalisation: top <= equalisation,
        "absorption_v <= equalisation_v",
    ),
    (
        ("equalisation_v", "cells", "cell_limit_v"),
        lambda top, cells, limit: top < cells * limit,
        "equalisation_v < cells * cell_limit_v",
    ),
    (
        ("equalisation_v", "plausible_v"),
        lambda top, plausible: plausible[0] <= top <= plausible[1],
        "equalisation_v inside plausible_v",
    ),
)
