"""The numbers that the rules compare with, worked out of the settings once.

Inside the rules there is no None: a limit that is off is an infinity that no reading reaches,
so that the same source runs on Python objects and, compiled, on whole arrays.
"""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

from attrs import frozen

from ctrl.state import Request
from ctrl.vocabulary import OnSag, OnUnconfirmed

if TYPE_CHECKING:
    from ctrl.settings import Settings

# Stamps in decimal fractions of a second are not exact in binary: a timer of 0.3 s over three
# intervals of 0.1 s must still be found to have run out.
TIME_SLACK_S = 1e-9
# An interval shorter than this steps back in time.
STEP_BACK_S = -TIME_SLACK_S


@frozen
class Limits:
    """One field for each number that a rule reads; units as in `Settings`.

    Timers and dwells have `TIME_SLACK_S` taken off, and `max_gap_s` has it added, so that the
    rules can compare without it. The last four are what is asked of the charger while no
    temperature shifts the voltages.
    """

    absorption_v: float
    entry_v: float
    entry_dwell_s: float
    hold_s: float
    sag_v: float
    on_sag: OnSag
    full_v: float
    confirm_s: float
    taper_a: float
    on_unconfirmed: OnUnconfirmed
    wait_limit_s: float
    float_v: float
    float_s: float
    return_v: float
    return_dwell_s: float
    return_soc: float
    charge_current_a: float
    charge_efficiency: float
    soc_ceiling: float
    soc_per_coulomb: float
    empty_v: float
    empty_dwell_s: float
    cell_limit_v: float
    cell_release_v: float
    charge_min_c: float
    charge_max_c: float
    release_min_c: float
    release_max_c: float
    trip_dwell_s: float
    release_dwell_s: float
    max_gap_s: float
    low_v: float
    high_v: float
    low_i: float
    high_i: float
    compensation_v_per_c: float
    reference_c: float
    compensation_min_c: float
    compensation_max_c: float
    sensor_lost_s: float
    sensor_frozen_s: float
    sensor_jump_c: float
    equalisation_v: float
    equalisation_s: float
    equalisation_every_s: float
    equalisation_max_c: float
    equalisation_loss_s: float
    equalisation_retry_s: float
    asked_in_charge: Request
    asked_in_float: Request
    asked_while_inhibited: Request
    asked_in_equalisation: Request


def _off(value: float | None, when_none: float) -> float:
    return when_none if value is None else value


def limits_of(settings: Settings) -> Limits:
    """The limits that follow from checked settings."""
    charge_min_c = _off(settings.charge_min_c, -inf)
    charge_max_c = _off(settings.charge_max_c, inf)
    equalisation_v = _off(settings.equalisation_v, inf)
    return Limits(
        absorption_v=settings.absorption_v,
        entry_v=settings.entry_v,
        entry_dwell_s=settings.entry_dwell_s - TIME_SLACK_S,
        hold_s=settings.hold_s - TIME_SLACK_S,
        sag_v=_off(settings.sag_v, settings.entry_v),
        on_sag=OnSag[settings.on_sag.upper()],
        full_v=settings.full_v,
        confirm_s=settings.confirm_s - TIME_SLACK_S,
        taper_a=_off(settings.taper_a, inf),
        on_unconfirmed=OnUnconfirmed[settings.on_unconfirmed.upper()],
        wait_limit_s=settings.wait_limit_s - TIME_SLACK_S,
        float_v=settings.float_v,
        float_s=_off(settings.float_s, inf) - TIME_SLACK_S,
        return_v=settings.return_v,
        return_dwell_s=settings.return_dwell_s - TIME_SLACK_S,
        return_soc=_off(settings.return_soc, -inf),
        charge_current_a=settings.charge_current_a,
        charge_efficiency=settings.charge_efficiency,
        soc_ceiling=settings.soc_ceiling,
        soc_per_coulomb=1.0 / (3600.0 * settings.capacity_ah),
        empty_v=_off(settings.empty_v, -inf),
        empty_dwell_s=settings.empty_dwell_s - TIME_SLACK_S,
        cell_limit_v=_off(settings.cell_limit_v, inf),
        cell_release_v=settings.cell_release_v,
        charge_min_c=charge_min_c,
        charge_max_c=charge_max_c,
        release_min_c=charge_min_c + settings.temp_band_c,
        release_max_c=charge_max_c - settings.temp_band_c,
        trip_dwell_s=settings.trip_dwell_s - TIME_SLACK_S,
        release_dwell_s=settings.release_dwell_s - TIME_SLACK_S,
        max_gap_s=settings.max_gap_s + TIME_SLACK_S,
        low_v=settings.plausible_v[0],
        high_v=settings.plausible_v[1],
        low_i=settings.plausible_i[0],
        high_i=settings.plausible_i[1],
        compensation_v_per_c=settings.compensation_v_per_c,
        reference_c=settings.reference_c,
        compensation_min_c=_off(settings.compensation_min_c, -inf),
        compensation_max_c=_off(settings.compensation_max_c, inf),
        sensor_lost_s=_off(settings.sensor_lost_s, inf) - TIME_SLACK_S,
        sensor_frozen_s=_off(settings.sensor_frozen_s, inf) - TIME_SLACK_S,
        sensor_jump_c=_off(settings.sensor_jump_c, inf),
        equalisation_v=equalisation_v,
        equalisation_s=settings.equalisation_s - TIME_SLACK_S,
        equalisation_every_s=_off(settings.equalisation_every_s, inf) - TIME_SLACK_S,
        equalisation_max_c=_off(settings.equalisation_max_c, inf),
        equalisation_loss_s=settings.equalisation_loss_s - TIME_SLACK_S,
        equalisation_retry_s=settings.equalisation_retry_s - TIME_SLACK_S,
        asked_in_charge=Request(settings.absorption_v, settings.charge_current_a),
        asked_in_float=Request(settings.float_v, settings.charge_current_a),
        asked_while_inhibited=Request(settings.float_v, 0.0),
        asked_in_equalisation=Request(equalisation_v, settings.charge_current_a),
    )
