"""Settings that contradict each other: the complete list of the rules, and what is just legal."""

from __future__ import annotations

from typing import Any

import pytest

from ctrl.errors import ContradictionError
from ctrl.settings import Settings

# Each row: what is set, the fields that the error must name, and what must be in its text.
CONTRADICTIONS: list[tuple[dict[str, Any], tuple[str, ...], str]] = [
    ({"full_v": 55.9}, ("full_v", "entry_v"), "full_v 55.9 and entry_v 55.8"),
    ({"entry_v": 56.1}, ("entry_v", "absorption_v"), "entry_v 56.1 and absorption_v 56.0"),
    ({"sag_v": 55.9}, ("sag_v", "entry_v"), "sag_v 55.9 and entry_v 55.8"),
    ({"return_v": 54.0}, ("return_v", "float_v"), "return_v 54.0 and float_v 54.0"),
    ({"float_v": 56.1}, ("float_v", "absorption_v"), "float_v 56.1 and absorption_v 56.0"),
    ({"empty_v": 53.0}, ("empty_v", "return_v"), "empty_v 53.0 and return_v 53.0"),
    (
        {"cell_release_v": 3.65},
        ("cell_release_v", "cell_limit_v"),
        "cell_release_v 3.65 and cell_limit_v 3.65",
    ),
    (
        {"cell_limit_v": 3.5, "cell_release_v": 3.4},
        ("absorption_v", "cells", "cell_limit_v"),
        "absorption_v 56.0 and cells 16 and cell_limit_v 3.5",
    ),
    (
        {"temp_band_c": 22.5},
        ("charge_min_c", "temp_band_c", "charge_max_c"),
        "charge_min_c 0.0 and temp_band_c 22.5 and charge_max_c 45.0",
    ),
    (
        {"plausible_v": (16.0, 55.9)},
        ("absorption_v", "plausible_v"),
        "absorption_v 56.0 and plausible_v (16.0, 55.9)",
    ),
    (
        {"plausible_v": (44.9, 64.0)},
        ("empty_v", "plausible_v"),
        "empty_v 44.8 and plausible_v (44.9, 64.0)",
    ),
    (
        {"compensation_min_c": 25.1},
        ("compensation_min_c", "reference_c"),
        "compensation_min_c 25.1 and reference_c 25.0",
    ),
    (
        {"compensation_max_c": 24.9},
        ("compensation_max_c", "reference_c"),
        "compensation_max_c 24.9 and reference_c 25.0",
    ),
    (
        {"equalisation_v": 55.9},
        ("absorption_v", "equalisation_v"),
        "absorption_v 56.0 and equalisation_v 55.9",
    ),
    (
        {"equalisation_v": 58.4},
        ("equalisation_v", "cells", "cell_limit_v"),
        "equalisation_v 58.4 and cells 16 and cell_limit_v 3.65",
    ),
    (
        {"equalisation_v": 64.1, "cell_limit_v": None},
        ("equalisation_v", "plausible_v"),
        "equalisation_v 64.1 and plausible_v (16.0, 64.0)",
    ),
    ({"plausible_v": (64.0, 64.0)}, ("plausible_v",), "low bound 64.0 and the high bound 64.0"),
    ({"plausible_i": (1.0, -1.0)}, ("plausible_i",), "low bound 1.0 and the high bound -1.0"),
]


@pytest.mark.parametrize(("changes", "fields", "named"), CONTRADICTIONS)
def test_contradiction_names_both_fields_and_both_values(
    changes: dict[str, Any], fields: tuple[str, ...], named: str
) -> None:
    with pytest.raises(ContradictionError) as caught:
        Settings.from_mapping(changes)
    assert caught.value.fields == fields
    assert named in str(caught.value)
    assert caught.value.hint in str(caught.value)
    assert all(name in caught.value.hint for name in fields) or len(fields) == 1


# What stands just inside each of the limits above; none of it may be refused.
JUST_LEGAL: list[dict[str, Any]] = [
    {"full_v": 55.8},
    {"entry_v": 56.0},
    {"sag_v": 55.8},
    {"return_v": 53.999},
    {"float_v": 56.0},
    {"empty_v": 52.999},
    {"cell_release_v": 3.649},
    {"cell_limit_v": 3.501, "cell_release_v": 3.4},
    {"temp_band_c": 22.499},
    {"plausible_v": (44.8, 56.0)},
    {"plausible_i": (-0.001, 0.001)},
    {"compensation_min_c": 25.0, "compensation_max_c": 25.0},
    {"equalisation_v": 56.0},
    {"equalisation_v": 64.0, "cell_limit_v": None},
    # What is off contradicts nothing.
    {"cell_limit_v": None, "cell_release_v": 99.0},
    {"charge_min_c": None, "temp_band_c": 99.0},
    {"charge_max_c": None, "temp_band_c": 99.0},
    {"empty_v": None, "return_v": -10.0, "plausible_v": (50.0, 64.0)},
    # Unwise, and the business of the warnings.
    {"hold_s": 0.001},
    {"entry_dwell_s": 1e6, "confirm_s": 1e6},
    {"charge_current_a": 0.0, "taper_a": 0.0},
    {"compensation_v_per_c": 10.0},
    {"equalisation_every_s": 60.0},
]


@pytest.mark.parametrize("changes", JUST_LEGAL, ids=str)
def test_what_is_legal_is_not_refused(changes: dict[str, Any]) -> None:
    settings = Settings.from_mapping(changes)
    assert {name: getattr(settings, name) for name in changes} == changes
