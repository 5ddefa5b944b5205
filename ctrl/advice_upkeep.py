"""Advice on equalisation, on the sensor by which voltages shift, and on the way back out of float."""

from __future__ import annotations

from collections.abc import Iterator

from ctrl.advice_parts import CAUTION, SLACK_V, Advice, Found, likely
from ctrl.settings import Settings

# Common practice, no source: a battery in a room that nobody heats may read the same for so long.
STEADY_S = 6 * 3600.0


def coldest_c(settings: Settings) -> float | None:
    """The temperature beyond which the voltages are raised no further, degrees C; None: no bound."""
    raises_in_the_cold = settings.compensation_v_per_c < 0.0
    bounds = (
        (settings.charge_min_c, settings.compensation_min_c)
        if raises_in_the_cold
        else (settings.charge_max_c, settings.compensation_max_c)
    )
    set_c = [bound for bound in bounds if bound is not None]
    if not set_c:
        return None
    return max(set_c) if raises_in_the_cold else min(set_c)


def _never_equalised(settings: Settings, _: Found) -> Iterator[Advice]:
    every_s = settings.equalisation_every_s
    if settings.equalisation_v is None and every_s is not None:
        yield Advice(
            ("equalisation_every_s", "equalisation_v"),
            f"Nothing is ever equalised: equalisation_every_s is {every_s:g} s, and equalisation_v is"
            " none.",
            f"equalisation_every_s none says so; only a cell maker's data say that there should be an"
            f" equalisation, and at which voltage. {CAUTION}",
            "What is scheduled can happen.",
        )


def _too_warm(settings: Settings, _: Found) -> Iterator[Advice]:
    if settings.equalisation_v is not None and settings.equalisation_max_c is None:
        yield Advice(
            ("equalisation_v", "equalisation_max_c"),
            "A battery is equalised however hot it is, and with no sensor at all: equalisation_max_c"
            " is none.",
            f"equalisation_max_c 40 degrees C (from memory, check the cell maker's data). {CAUTION}",
            "Equalisation is bounded in temperature.",
        )


def _not_lead(settings: Settings, _: Found) -> Iterator[Advice]:
    cell_v = settings.absorption_v / settings.cells
    if settings.equalisation_v is None:
        return
    chosen = likely(settings)
    if chosen.no_equalisation:
        yield Advice(
            ("equalisation_v", "absorption_v", "cells"),
            f"Cells may be destroyed: absorption_v is {cell_v:.3f} V a cell, as for {chosen.title}, and"
            f" equalisation_v is {settings.equalisation_v:g} V; {chosen.no_equalisation}.",
            f"equalisation_v none; only flooded lead-acid cells are equalised. {CAUTION}",
            "Only cells that can bear it are equalised.",
        )


def _cold_equalisation(settings: Settings, _: Found) -> Iterator[Advice]:
    if settings.equalisation_v is None or settings.compensation_v_per_c == 0.0:
        return
    worst_c = coldest_c(settings)
    if worst_c is None:
        # That it has no bound is said of the voltage of absorption already.
        return
    shift_v = max(settings.compensation_v_per_c * (worst_c - settings.reference_c), 0.0)
    most_v, high_v = settings.equalisation_v + shift_v, settings.plausible_v[1]
    if most_v >= high_v:
        yield Advice(
            ("equalisation_v", "compensation_v_per_c", "plausible_v"),
            f"At {worst_c:g} degrees C the compensated equalisation_v is {most_v:.3f} V, which is not"
            f" under {high_v:.3f} V, where readings are not believed: the controller would go blind in"
            " the middle of it.",
            f"equalisation_v under {high_v - shift_v:.3f} V, or a higher bound of plausible_v. {CAUTION}",
            "Equalisation stays believable in the cold.",
        )


def _trusted_sensor(settings: Settings, _: Found) -> Iterator[Advice]:
    if settings.compensation_v_per_c == 0.0:
        return
    if settings.sensor_lost_s is None or settings.sensor_jump_c is None:
        off = [n for n in ("sensor_lost_s", "sensor_jump_c") if getattr(settings, n) is None]
        yield Advice(
            ("compensation_v_per_c", *off),
            "A sensor that fails goes on to move the voltages: compensation_v_per_c is set, and"
            f" {' and '.join(off)} {'is' if len(off) == 1 else 'are'} none. A warm battery that passes"
            " for a cold one is charged too high.",
            "sensor_lost_s 300 s and sensor_jump_c 15 K let nothing be raised by such a sensor (common"
            " practice, no source).",
            "A sensor that fails raises no voltage.",
        )
    if settings.sensor_frozen_s is not None and settings.sensor_frozen_s < STEADY_S:
        yield Advice(
            ("sensor_frozen_s",),
            "A battery whose temperature is steady passes for one with a frozen sensor, and is charged"
            f" too low in the cold: sensor_frozen_s is {settings.sensor_frozen_s:g} s.",
            f"sensor_frozen_s {6 * STEADY_S:g} s lets a steady day and night pass; under {STEADY_S:g} s is"
            " short (common practice, no source).",
            "A steady temperature is believed.",
        )


def _return_gap(settings: Settings, found: Found) -> Iterator[Advice]:
    # The gap between the voltage of regulation and that of reconnection must not be too small, or
    # the control element oscillates: Harrington & Dunlop, IEEE AES Magazine, Aug 1992, p. 15. What
    # is too small they do not say; here it is what the meters, their noise and the wiring take.
    gap_v = settings.float_v - settings.return_v
    needed_v = found.meter_error_v + found.meter_noise_v + found.wiring_ohm * found.taper_a
    if gap_v < needed_v - SLACK_V:
        yield Advice(
            ("return_v", "float_v"),
            "The controller may go back and forth between float and bulk: return_v is"
            f" {gap_v:.3f} V under float_v, and the meters, their noise and the wiring take"
            f" {needed_v:.3f} V.",
            f"return_v {settings.float_v - needed_v:.3f} V or less (Harrington & Dunlop, 1992, p. 15:"
            " that gap must not be too small).",
            "Float lasts.",
        )


UPKEEP_CHECKS = (
    _return_gap,
    _never_equalised,
    _too_warm,
    _not_lead,
    _cold_equalisation,
    _trusted_sensor,
)
