"""The numbers of the margins agree with the warnings, whatever the settings."""

from __future__ import annotations

from math import isfinite

from hypothesis import given, settings
from hypothesis import strategies as st

from ctrl.advice import warnings
from ctrl.settings import Settings
from harness.report.margins import Installation, margins_of
from tests.properties.generated import settings_of_any_kind

# A pair in which nothing left over is a warning already.
WARNED_AT_ZERO = ("full_v", "cells")
COMPENSATED = ("compensation_v_per_c", "absorption_v", "plausible_v", "cell_limit_v")
INSTALLATIONS = st.builds(
    Installation,
    meter_error_v=st.sampled_from([0.0, 0.05, 0.1, 0.4]),
    meter_noise_v=st.sampled_from([0.0, 0.01, 0.02, 0.3]),
    wiring_ohm=st.sampled_from([0.0, 0.002, 0.005, 0.05]),
    interval_s=st.sampled_from([0.0, 0.1, 1.0, 5.0, 60.0, 7200.0]),
    rest_cell_v=st.sampled_from([3.3, 3.35, 3.4, 3.5]),
    taper_a=st.sampled_from([None, 0.0, 2.0, 20.0]),
)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(settings_of_any_kind(), INSTALLATIONS)
def test_what_is_left_is_below_zero_exactly_where_somebody_is_warned(
    pack: Settings, found: Installation
) -> None:
    told = margins_of(pack, found)
    for margin in told.margins:
        if not isfinite(margin.left) or abs(margin.left) < 1e-6:
            # At zero the last digit of a subtraction decides.
            continue
        assert margin.enough == (margin.left > 0.0), margin
    assert len(told.advice) == len(
        warnings(
            pack,
            meter_error_v=found.meter_error_v,
            meter_noise_v=found.meter_noise_v,
            wiring_ohm=found.wiring_ohm,
            interval_s=found.interval_s,
            rest_cell_v=found.rest_cell_v,
            taper_a=found.taper_a,
        )
    )


def test_warning_at_zero_is_kept() -> None:
    resting = Settings.from_mapping({"full_v": 53.6})
    (margin,) = [m for m in margins_of(resting).margins if m.fields == WARNED_AT_ZERO]
    assert abs(margin.left) < 1e-9
    assert not margin.enough


@settings(max_examples=100, deadline=None, derandomize=True)
@given(settings_of_any_kind(), INSTALLATIONS)
def test_smallest_setting_clears_the_entry_margin(pack: Settings, found: Installation) -> None:
    smallest = margins_of(pack, found).smallest
    # An equalisation may have to be raised with it; it has no part in this margin.
    raised = {**pack.to_mapping(), "absorption_v": smallest.absorption_v, "equalisation_v": None}
    limit_v = raised["cell_limit_v"]
    if limit_v is not None and smallest.absorption_v >= pack.cells * limit_v:
        assert smallest.under_cell_limit is False
        return
    low_v, high_v = pack.plausible_v
    if not max(low_v, pack.float_v) <= smallest.absorption_v <= high_v:
        return
    cleared = margins_of(Settings.from_mapping(raised), found).margins[0]
    assert cleared.enough
    assert cleared.left < 1.001


def test_advised_voltages_are_enough_when_they_are_set() -> None:
    # In binary 56.05 - 56.0 is a little less than 0.05.
    (advice,) = warnings(Settings.from_mapping({"entry_v": 56.0}), meter_error_v=0.05, wiring_ohm=0)
    assert "is 56.050 V" in advice.hint
    raised = Settings.from_mapping({"entry_v": 56.0, "absorption_v": 56.05})
    assert warnings(raised, meter_error_v=0.05, wiring_ohm=0) == ()
    lowered = Settings.from_mapping({"entry_v": 56.05, "absorption_v": 57.0, "full_v": 56.0})
    assert warnings(lowered, meter_noise_v=0.05) == ()
