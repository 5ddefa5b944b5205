"""The columns of one bank in one arm, worked out of its sums."""

from __future__ import annotations

from harness.study import tally
from harness.study.tally import Tallied
from harness.world.bank import World
from harness.world.daytime import DAY_S

HOUR_S = 3600.0
KWH_J = 3.6e6


def columns_of(tallied: Tallied, world: World) -> dict[str, float]:
    """What a row of a study says of a bank, without the numbers of bank and arm.

    Args:
        tallied: the sums.
        world: what ran.

    Returns:
        Column by column, in their order.
    """
    packs, count = tallied.packs, len(world.packs)
    sums = packs.sum(axis=0)
    ran_days, day_share = tallied.ran_s / DAY_S, tallied.step_s / DAY_S
    step_h = tallied.step_s / HOUR_S
    never = packs[:, tally.RESETS] == 0.0
    never[tallied.lead] = False
    stretches = (packs[:, tally.LONGEST_S], tallied.ran_s - packs[:, tally.LAST_RESET_S])
    resets = float(sums[tally.RESETS])
    unused_j = 0.0 if world.sun is None else tallied.available_j - tallied.charger_j
    heat_j = tallied.charger_j - tallied.load_j - tallied.stored_j
    return {
        "ran_days": ran_days,
        "pack_days": count * ran_days,
        "resets": resets,
        "false_resets": float(sums[tally.FALSE_RESETS]),
        "worst_reset_error": float(packs[:, tally.WORST_ERROR].max()) if resets > 0.0 else 0.0,
        "reset_error_sq": float(sums[tally.RESET_ERROR_SQ]),
        "full_days": float(sums[tally.FULL_DAYS]),
        "missed_days": float(sums[tally.MISSED_DAYS]),
        "error_sq_days": float(sums[tally.ERROR_SQ]) * day_share,
        "error_p95": tallied.error_quantile(0.95),
        "to_full_h": float(sums[tally.TO_FULL_S]) / HOUR_S,
        "to_full_days": float(sums[tally.TO_FULL_DAYS]),
        "above_345_h": float(sums[tally.STEPS_ABOVE_345]) * step_h,
        "above_350_h": float(sums[tally.STEPS_ABOVE_350]) * step_h,
        "float_to_bulk": float(sums[tally.FLOAT_TO_BULK]),
        "followers": float(count - 1),
        "followers_never_reset": float(never.sum()),
        "longest_without_days": max(float(each.max()) for each in stretches) / DAY_S,
        "charger_kwh": tallied.charger_j / KWH_J,
        "sun_unused_kwh": max(unused_j, 0.0) / KWH_J,
        "heat_kwh": heat_j / KWH_J,
        "denied_kwh": tallied.denied_j / KWH_J,
        "stopped": float(tallied.stop is not None),
    }
