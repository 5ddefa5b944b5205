"""Warnings about equalisation, the sensor of the temperature, and the way back out of float."""

from __future__ import annotations

from typing import Any

import pytest

from ctrl.advice import CAUTION, Advice, warnings
from ctrl.settings import Settings
from harness.report.margins import Installation, margins_of


def flooded(**changes: Any) -> Settings:
    """A flooded bank of 24 cells on which nothing is unwise."""
    return Settings.for_chemistry("lead_flooded", 24, 100.0, **changes)


def only(settings: Settings, **installation: float) -> Advice:
    """The one warning about settings; it has its line among the margins too."""
    (found,) = warnings(settings, **installation)
    assert found.wanted
    told = margins_of(settings, Installation(**installation)).margins
    assert [each.wanted for each in told if each.advice] == [found.wanted]
    return found


def test_flooded_profile_is_wise() -> None:
    assert warnings(flooded()) == ()


def test_schedule_without_a_voltage_never_comes_about() -> None:
    settings = Settings.for_chemistry("lead_agm", 24, 100.0, equalisation_every_s=864_000)
    advice = only(settings)
    assert advice.fields == ("equalisation_every_s", "equalisation_v")
    assert "Nothing is ever equalised: equalisation_every_s is 864000 s" in advice.sentence
    assert CAUTION in advice.hint


def test_equalisation_without_a_bound_of_temperature() -> None:
    advice = only(flooded(equalisation_max_c=None))
    assert advice.fields == ("equalisation_v", "equalisation_max_c")
    assert "with no sensor at all" in advice.sentence
    assert "from memory, check the cell maker's data" in advice.hint
    assert CAUTION in advice.hint


def test_equalisation_that_the_cold_raises_out_of_what_is_believed() -> None:
    # 61.92 V, and 24 * 5 mV over the 35 degrees down to -10 C: 4.2 V more.
    settings = flooded(plausible_v=(24.0, 66.12))
    advice = only(settings)
    assert advice.fields == ("equalisation_v", "compensation_v_per_c", "plausible_v")
    assert "At -10 degrees C the compensated equalisation_v is 66.120 V" in advice.sentence
    assert "equalisation_v under 61.920 V" in advice.hint
    assert warnings(settings.changed(plausible_v=(24.0, 66.13))) == ()
    # The temperature under which nothing is charged bounds it as well.
    assert warnings(settings.changed(charge_min_c=-9.0)) == ()
    bounded_by_charging = settings.changed(compensation_min_c=None, charge_min_c=-10.0)
    assert "At -10 degrees C" in only(bounded_by_charging).sentence
    # Without compensation the cold raises nothing.
    assert warnings(settings.changed(compensation_v_per_c=0.0)) == ()


def test_cells_that_look_like_others_are_not_to_be_equalised() -> None:
    lfp = Settings(equalisation_v=57.0, equalisation_every_s=2_592_000.0)
    advice = only(lfp)
    assert advice.fields == ("equalisation_v", "absorption_v", "cells")
    assert "3.500 V a cell, as for lithium iron phosphate" in advice.sentence
    assert "equalisation_v none" in advice.hint


@pytest.mark.parametrize(
    "off", [("sensor_lost_s",), ("sensor_jump_c",), ("sensor_lost_s", "sensor_jump_c")]
)
def test_compensation_by_a_sensor_that_nobody_doubts(off: tuple[str, ...]) -> None:
    advice = only(flooded(**dict.fromkeys(off)))
    assert advice.fields == ("compensation_v_per_c", *off)
    assert all(name in advice.sentence for name in off)
    assert warnings(flooded(compensation_v_per_c=0.0, **dict.fromkeys(off))) == ()


def test_steady_battery_passes_for_one_with_a_frozen_sensor() -> None:
    advice = only(flooded(sensor_frozen_s=21_599.0))
    assert advice.fields == ("sensor_frozen_s",)
    assert "sensor_frozen_s is 21599 s" in advice.sentence
    assert "sensor_frozen_s 129600 s" in advice.hint
    assert warnings(flooded(sensor_frozen_s=21_600.0)) == ()
    assert warnings(flooded(sensor_frozen_s=None)) == ()


def test_return_that_lies_too_near_to_float() -> None:
    # Meters 0.1 V, noise 0.02 V, and 5 mΩ at 14 A: 0.19 V.
    advice = only(Settings(float_v=53.18))
    assert advice.fields == ("return_v", "float_v")
    assert "return_v is 0.180 V under float_v" in advice.sentence
    assert "take 0.190 V" in advice.sentence
    assert "return_v 52.990 V or less (Harrington & Dunlop, 1992, p. 15" in advice.hint
    assert warnings(Settings(float_v=53.19)) == ()


def test_full_lead_acid_at_rest_is_not_measured_by_lfp() -> None:
    # 24 cells at 2.12 V rest at 50.88 V; 24 of LFP would at 80.4 V, far over any of these voltages.
    advice = next(iter(warnings(flooded(return_v=50.9))))
    assert advice.fields == ("return_v", "cells")
    assert "comes to rest at 50.880 V" in advice.sentence
