"""Logs of simulated banks with one planted cause each, made from seeds."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from tests.explain.planted import of_charge, of_time, of_voltage
from tests.explain.planted.plant import (
    CAUSES,
    ClockSteps,
    Planted,
    Recorded,
    record,
    resets_of,
    resets_without,
    stays_in_charge,
)
from tests.explain.planted.writing import MAPPING, log_of, write

__all__ = [
    "CAUSES",
    "MAPPING",
    "PLANTS",
    "ClockSteps",
    "Planted",
    "Recorded",
    "all_planted",
    "log_of",
    "planted",
    "record",
    "resets_of",
    "resets_without",
    "stays_in_charge",
    "write",
]

# What plants each cause, and how many logs there are of it.
PLANTS: dict[str, tuple[Callable[[int], Planted], int]] = {
    "wiring": (of_voltage.wiring, 4),
    "meter_offset": (of_voltage.meter_offset, 4),
    "dwell_flicker": (of_voltage.dwell_flicker, 3),
    "load_at_recheck": (of_time.load_at_recheck, 3),
    "cloud": (of_time.cloud, 3),
    "lead_pack_early": (of_time.lead_pack_early, 3),
    "gap": (of_time.gap, 4),
    "drifted_counter": (of_charge.drifted_counter, 3),
    "protection": (of_charge.protection, 3),
    "wrong_settings": (of_voltage.wrong_settings, 4),
    "clock_jump": (of_time.clock_jump, 3),
    "healthy": (of_charge.healthy, 3),
}


def planted(cause: str, k: int) -> Planted:
    """Number `k`, from 0, of a cause."""
    make, _ = PLANTS[cause]
    return make(k)


def all_planted() -> Iterator[Planted]:
    """All of them, one after the other."""
    for make, count in PLANTS.values():
        for k in range(count):
            yield make(k)
