"""The settings of a charger under test that fit a world: those that someone would set who knows it.

A scenario says what the charger can do and how often it hears from the packs. From that follow its
bounds. The rest are the defaults of the rules, scaled to the cells of the packs. What the scenario
says of the remote sense and of the fallback of its own charger holds for the one under test as well:
so the two can be compared.
"""

from __future__ import annotations

from typing import Any

from ctrl.charger import ChargerSettings
from ctrl.errors import SettingsError
from harness.errors import InputError
from harness.world.bank import World

# A message that misses so many of the charger's intervals may still be on its way.
INTERVALS = 3.0


def fitting_charger(world: World, **changes: Any) -> ChargerSettings:
    """The settings that fit a world, then `changes`.

    Args:
        world: where the charger works.
        changes: settings by name.

    Raises:
        InputError: an unknown name, or a value that a setting cannot have.
    """
    hardware, cells = world.charger, world.packs[0].pack.count
    usual = ChargerSettings.for_cells(cells)
    slow_s = INTERVALS * hardware.interval_s
    link, sense = hardware.link, hardware.remote_sense
    highest_v = min(usual.highest_v, hardware.highest_v)
    lowest_float_v = min(branch.settings.float_v for branch in world.packs)
    longest_meter_s = max(branch.meter.interval_s for branch in world.packs)
    fallback_v = lowest_float_v if link.fallback_v is None else link.fallback_v
    fallback_a = usual.fallback_a if link.fallback_a is None else link.fallback_a
    fitted: dict[str, Any] = {
        "packs": len(world.packs),
        "highest_v": highest_v,
        "highest_a": hardware.current_a,
        "plausible_a": max(usual.plausible_a, hardware.current_a),
        "fallback_v": min(fallback_v, highest_v),
        "fallback_a": min(fallback_a, hardware.current_a),
        "stale_s": max(usual.stale_s, slow_s),
        "max_gap_s": max(usual.max_gap_s, slow_s),
        "silent_s": max(usual.silent_s, 4.0 * slow_s),
        "frozen_s": max(usual.frozen_s, 4.0 * longest_meter_s, 4.0 * slow_s),
        "sense_time_s": max(usual.sense_time_s, slow_s),
    }
    if sense is not None:
        fitted["compensation_v"] = sense.bound_v
        fitted["sense_time_s"] = max(sense.time_constant_s, fitted["max_gap_s"])
    try:
        return ChargerSettings.for_cells(cells, **{**fitted, **changes})
    except SettingsError as error:
        hint = getattr(error, "hint", "")
        message = str(error).removesuffix(f"; {hint}")
        raise InputError(message, column="charger settings", hint=hint) from None
