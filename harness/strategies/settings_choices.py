"""Settings from whole numbers: any numbers give settings without contradiction, zeros the defaults."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from types import MappingProxyType
from typing import Any

from ctrl.settings import Settings
from harness.run import FEATURES

# What each number chooses among; the first is the default, and those listed twice come more often.
# Voltages are for 16 cells, and those that end in `_down_v` lie under the one before.
OPTIONS: MappingProxyType[str, tuple[Any, ...]] = MappingProxyType(
    {
        "cells": (16, 16, 16, 8),
        "capacity_ah": (280.0, 10.0, 1.0, 0.05),
        "absorption_v": (56.0, 56.0, 57.5),
        "entry_down_v": (0.2, 0.2, 0.01, 0.0, 0.5),
        "entry_dwell_s": (3.0, 5.0, 10.0, 2.5, 0.0, 1.0),
        "hold_s": (60.0, 10.0, 30.0, 20.0, 5.0, 120.0, 0.5, 3600.0),
        "sag_down_v": (None, 0.0, 0.05, 0.2, 1.0),
        "on_sag": ("run", "pause", "restart"),
        "full_down_v": (0.2, 0.05, 1.0, 0.0),
        "confirm_s": (0.0, 5.0, 10.0, 2.0),
        "taper_a": (None, 5.0, 20.0, None, 0.0),
        "on_unconfirmed": ("float", "bulk", "wait", "wait"),
        "wait_limit_s": (20.0, 10.0, 60.0, 5.0, 0.5, 3600.0),
        "float_down_v": (2.0, 0.5, 2.0, 0.0),
        "float_s": (None, 30.0, None, 12.0, 120.0, 0.5),
        "return_down_v": (1.0, 0.2, 0.05),
        "return_dwell_s": (10.0, 5.0, 60.0, 0.0, 2.5),
        "return_soc": (0.9, None, 0.9, 0.97, 0.5, None),
        "charge_current_a": (100.0, 100.0, 37.5, 0.0),
        "charge_efficiency": (1.0, 0.97, 0.4),
        "soc_ceiling": (0.99, 0.99, 1.0, 0.9),
        "empty_v": (44.8, 44.8, 48.0, None),
        "empty_dwell_s": (10.0, 3.0, 0.0),
        "cell_limit_v": (3.65, 3.65, 3.8, None),
        "cell_release_down_v": (0.15, 0.05, 0.3),
        "charge_min_c": (0.0, 0.0, -10.0, None),
        "charge_max_c": (45.0, 45.0, 30.0, None),
        "temp_band_c": (3.0, 3.0, 5.0, 0.0),
        "trip_dwell_s": (1.0, 3.0, 5.0, 0.0),
        "release_dwell_s": (10.0, 3.0, 5.0, 0.0),
        "max_gap_s": (30.0, 30.0, 10.0, 4.0),
        "plausible_up_v": (8.0, 8.0, 1.0, 0.0),
        "plausible_low_v": (16.0, 16.0, 44.8, 0.0),
        "plausible_a": (500.0, 500.0, 120.0),
        "compensation_v_per_c": (0.0, 0.0, 0.0, -0.03, 0.02),
        "reference_c": (25.0, 25.0, 20.0),
    }
)
SETTINGS_CHOICES = len(OPTIONS)

# What a controller that does not claim a feature is never asked for: the value of that number.
_WITHOUT: MappingProxyType[str, dict[str, Any]] = MappingProxyType(
    {
        "float_timer": {"float_s": None},
        "return_soc": {"return_soc": None},
        "confirm": {"confirm_s": 0.0},
        "taper": {"taper_a": None},
        "empty_reset": {"empty_v": None},
        "cell_protection": {"cell_limit_v": None},
        "temperature_protection": {"charge_min_c": None, "charge_max_c": None},
        "compensation": {"compensation_v_per_c": 0.0},
    }
)
# And where one word of several is a feature of its own.
_WORDS = (
    ("sag_pause", "on_sag", "pause", "run"),
    ("sag_restart", "on_sag", "restart", "run"),
    ("wait", "on_unconfirmed", "wait", "float"),
)


def settings_from(choices: Sequence[int], features: frozenset[str]) -> Settings:
    """The settings that so many numbers choose.

    Args:
        choices: `SETTINGS_CHOICES` numbers, 0 or more.
        features: what the controller claims; settings that need another one stay off.
    """
    of = {
        name: options[int(number) % len(options)]
        for (name, options), number in zip(OPTIONS.items(), choices, strict=True)
    }
    of.update(switched_off(frozenset(FEATURES) - features))
    for feature, name, word, instead in _WORDS:
        if feature not in features and of[name] == word:
            of[name] = instead
    return _together(of)


def switched_off(features: frozenset[str]) -> dict[str, Any]:
    """The settings that ask nothing of a controller without some features, by name."""
    return {
        name: value
        for feature, neutral in _WITHOUT.items()
        if feature in features
        for name, value in neutral.items()
    }


def _together(of: dict[str, Any]) -> Settings:
    cells = of.pop("cells")
    pack: Callable[[float], float] = lambda volts: round(volts * cells / 16, 9)  # noqa: E731
    absorption_v = of.pop("absorption_v")
    entry_v = absorption_v - of.pop("entry_down_v")
    full_v = entry_v - of.pop("full_down_v")
    sag_down_v = of.pop("sag_down_v")
    float_v = absorption_v - of.pop("float_down_v")
    return_v = float_v - of.pop("return_down_v")
    empty_v = of.pop("empty_v")
    high_v = absorption_v + of.pop("plausible_up_v")
    low_v = of.pop("plausible_low_v")
    most_a = of.pop("plausible_a")
    release_down_v = of.pop("cell_release_down_v")
    cell_limit_v = of["cell_limit_v"]
    return Settings(
        cells=cells,
        absorption_v=pack(absorption_v),
        entry_v=pack(entry_v),
        full_v=pack(full_v),
        sag_v=None if sag_down_v is None else pack(entry_v - sag_down_v),
        float_v=pack(float_v),
        return_v=pack(return_v),
        empty_v=None if empty_v is None else pack(empty_v),
        plausible_v=(pack(low_v), pack(high_v)),
        plausible_i=(-most_a, most_a),
        cell_release_v=3.5 if cell_limit_v is None else round(cell_limit_v - release_down_v, 9),
        **of,
    )
