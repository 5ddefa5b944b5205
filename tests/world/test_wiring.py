"""Conductors and joints against their tables."""

from __future__ import annotations

from typing import Any

import pytest

from harness.errors import InputError
from harness.world.wiring import (
    GOOD_JOINT_OHM,
    Lead,
    awg_ohm_per_km,
    iec_ohm_per_km,
    sensed_load_v,
    to_20_c,
)


@pytest.mark.parametrize(
    ("mm2", "stranded", "flexible"),
    [
        (4, 4.61, 4.95), (6, 3.08, 3.30), (10, 1.83, 1.91), (16, 1.15, 1.21), (25, 0.727, 0.780),
        (35, 0.524, 0.554), (50, 0.387, 0.386), (70, 0.268, 0.272), (95, 0.193, 0.206),
        (120, 0.153, 0.161),
    ],
)  # fmt: skip
def test_iec_rows(mm2: float, stranded: float, flexible: float) -> None:
    """IEC 60228, plain copper, greatest Ω/km at 20 °C, classes 2 and 5 (secondary tables)."""
    assert iec_ohm_per_km(mm2, 2) == stranded
    assert iec_ohm_per_km(mm2, 5) == flexible


def test_a_loop_of_flexible_cable() -> None:
    """35 mm², class 5, 6 m loop: 3.324 mΩ, by the same table."""
    assert Lead(6.0, mm2=35.0).ohm == pytest.approx(3.324e-3, abs=1e-9)


@pytest.mark.parametrize(("temp_c", "factor"), [(5.0, 1.064), (40.0, 0.926), (90.0, 0.781)])
def test_temperature_factor(temp_c: float, factor: float) -> None:
    """Factor to 20 °C, 250 / (230 + T), by the same table: ±0.0005."""
    assert to_20_c(temp_c) == pytest.approx(factor, abs=5e-4)


def test_a_warm_cable_has_more_resistance() -> None:
    """3.324 mΩ at 20 °C divided by the factor of 40 °C, 250 / 270."""
    assert Lead(6.0, mm2=35.0, temp_c=40.0).ohm == pytest.approx(3.58992e-3, abs=1e-9)


@pytest.mark.parametrize(("awg", "ohm_per_km"), [(10, 3.277), (2, 0.5127), (-3, 0.1608)])
def test_awg(awg: int, ohm_per_km: float) -> None:
    """Resistivity 17.241 Ω·mm²/km; the diameter formula is from memory, so only computation is checked."""
    assert awg_ohm_per_km(awg) == pytest.approx(ohm_per_km, rel=2e-4)


def test_a_joint_stays_under_100_microohm() -> None:
    """Some µΩ, under 100 µΩ: US Bureau of Reclamation, FIST 3-6, 1997, pp. 7-8."""
    assert 1e-6 < GOOD_JOINT_OHM < 100e-6
    assert Lead(0.0, mm2=35.0, joints=4).ohm == pytest.approx(80e-6, abs=1e-12)


def test_sense_of_one_of_two_equal_leads() -> None:
    """V_load = 2·V_sense - V_out: EDN design idea 1706, 1995. 20 A through 5 mΩ each way."""
    assert sensed_load_v(54.0, 53.9) == pytest.approx(53.8, abs=1e-12)


@pytest.mark.parametrize(
    ("given", "field", "says"),
    [
        ({"length_m": -1.0, "mm2": 35.0}, "length_m", "0"),
        ({"length_m": float("nan"), "mm2": 35.0}, "length_m", "0"),
        ({"length_m": "6", "mm2": 35.0}, "length_m", "number"),
        ({"length_m": 6.0}, "mm2", "one of them"),
        ({"length_m": 6.0, "mm2": 35.0, "awg": 2}, "mm2", "one of them"),
        ({"length_m": 6.0, "mm2": 34.0}, "mm2", "4, 6, 10, 16, 25, 35"),
        ({"length_m": 6.0, "mm2": 35.0, "strand_class": 6}, "strand_class", "2 or 5"),
        ({"length_m": 6.0, "awg": 60}, "awg", "36"),
        ({"length_m": 6.0, "mm2": 35.0, "temp_c": -273.0}, "temp_c", "-60"),
        ({"length_m": 6.0, "mm2": 35.0, "joints": 1.5}, "joints", "whole"),
        ({"length_m": 6.0, "mm2": 35.0, "joint_ohm": -1e-6}, "joint_ohm", "0"),
    ],
)
def test_what_no_lead_has_is_refused(given: dict[str, Any], field: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        Lead(**given)
    assert caught.value.column == field
    assert says in caught.value.hint
