"""The packs for which the shipped vectors are written.

Timers are short so that a vector can be read: nothing in the rules depends on their length. The
cell maker's limits, local codes and licensed practice come before any number in here.
"""

from __future__ import annotations

from typing import Any

from ctrl.settings import Settings

# What would end a stage before the vector's own subject does is switched off.
_QUIET: dict[str, Any] = {"hold_s": 120, "return_soc": None, "empty_v": None}


def hut(**changes: Any) -> Settings:
    """One of three packs of 16 LFP cells in a mountain research hut."""
    return Settings.for_cells(16, **{**_QUIET, **changes})


def common_practice(**changes: Any) -> Settings:
    """16 LFP cells with the numbers of common practice; they have no published source.

    3.45 V a cell asked for, 3.445 V a cell to be full, 3.35 V a cell in float, and a hold of
    0.1 h as it is used on a bench.
    """
    numbers = {"absorption_v": 55.2, "entry_v": 55.15, "full_v": 55.12, "float_v": 53.6}
    return hut(**{**numbers, "return_v": 52.8, "hold_s": 360, **changes})


def pier(**changes: Any) -> Settings:
    """A pack of 8 LFP cells on a ferry pier."""
    numbers = {"capacity_ah": 200, "charge_current_a": 60}
    return Settings.for_cells(8, **{**_QUIET, **numbers, **changes})


def lead_acid(cells: int, **changes: Any) -> Settings:
    """A lead-acid bank; voltages a cell are common practice.

    Compensation of -5 mV/degree C/cell: Harrington & Dunlop, IEEE AES Magazine, Aug 1992, p. 15.
    """
    volts = {
        "absorption_v": 2.35,
        "entry_v": 2.33,
        "full_v": 2.30,
        "float_v": 2.25,
        "return_v": 2.15,
    }
    scaled: dict[str, Any] = {name: round(volt * cells, 6) for name, volt in volts.items()}
    other = {
        "capacity_ah": 100,
        "plausible_v": (1.5 * cells, 3.0 * cells),
        "compensation_v_per_c": round(-0.005 * cells, 6),
        "cell_limit_v": None,
        "charge_min_c": None,
        "charge_max_c": None,
    }
    return Settings(cells=cells, **{**_QUIET, **scaled, **other, **changes})


def flooded(**changes: Any) -> Settings:
    """A flooded lead-acid bank of 24 cells that may be equalised; voltages are common practice."""
    numbers: dict[str, Any] = {
        "equalisation_v": 60.0,
        "equalisation_s": 120,
        "equalisation_loss_s": 20,
        "equalisation_retry_s": 100,
        "charge_max_c": 50,
        "trip_dwell_s": 5,
    }
    return lead_acid(24, **{**numbers, **changes})


def sensed(**changes: Any) -> Settings:
    """The same bank with a temperature sensor that is not believed blindly."""
    numbers: dict[str, Any] = {
        "compensation_min_c": -5,
        "compensation_max_c": 40,
        "sensor_lost_s": 60,
        "sensor_jump_c": 10,
    }
    return lead_acid(24, **{**numbers, **changes})
