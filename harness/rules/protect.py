"""PROTECT: what blocks the charge, and when it lets go."""

from __future__ import annotations

from harness.rules.full import BLOCKED, resets
from harness.rules.requirement import Requirement
from harness.rules.trips import (
    CELL_HELD,
    CELL_TRIPS,
    NO_READING,
    RELEASE_HELD,
    RELEASES,
    TEMPERATURE_HELD,
    TEMPERATURE_TRIPS,
    TO_BULK,
    trips,
)

REQUIREMENTS = (
    Requirement(
        id=CELL_TRIPS,
        title="a cell at its limit blocks the charge",
        statement="When the highest cell voltage has been at or above `cell_limit_v` for "
        "`trip_dwell_s`, whatever the stage was meanwhile, the stage is inhibited at that sample.",
        reason="A cell above its limit is damaged, and can be dangerous.",
        check=trips,
        features={"cell_protection"},
    ),
    Requirement(
        id=CELL_HELD,
        title="the cell limit trips only after its dwell",
        statement="The cell voltage leads to inhibited only after it has been at or above "
        "`cell_limit_v` for `trip_dwell_s` without interruption; an absent reading interrupts.",
        reason="A single noisy reading that stops the charge costs a day of sun.",
        check=trips,
        features={"cell_protection"},
    ),
    Requirement(
        id=TEMPERATURE_TRIPS,
        title="a temperature outside its limits blocks the charge",
        statement="When the coldest reading has been below `charge_min_c`, or the hottest above "
        "`charge_max_c`, for `trip_dwell_s`, whatever the stage was meanwhile, the stage is "
        "inhibited at that sample.",
        reason="Charging a frozen lithium cell plates metal in it.",
        check=trips,
        features={"temperature_protection"},
    ),
    Requirement(
        id=TEMPERATURE_HELD,
        title="the temperature trips only after its dwell",
        statement="The temperature leads to inhibited only after it has been outside its limits, "
        "bounds included in the limits, for `trip_dwell_s` without interruption; an absent reading "
        "interrupts.",
        reason="A loose plug that reads nonsense for a moment must not stop the charge.",
        check=trips,
        features={"temperature_protection"},
    ),
    Requirement(
        id=NO_READING,
        title="a controller that sees nothing stops the charge",
        statement="At an invalid sample more than `max_gap_s` after the last valid one the stage "
        "becomes inhibited, at once; an invalid sample before that does not lead to it.",
        reason="Whoever cannot see the voltage cannot ask for one.",
        check=trips,
    ),
    Requirement(
        id=RELEASES,
        title="protection lets go when all is clear",
        statement="When every tripped cause has been clear for `release_dwell_s`, the stage becomes "
        "bulk at that sample.",
        reason="A pack that stays blocked is missed by the bank for the rest of the day.",
        check=trips,
    ),
    Requirement(
        id=RELEASE_HELD,
        title="protection lets go only when all is clear for its dwell",
        statement="Inhibited is left only after every tripped cause has been clear (cell at or below "
        "`cell_release_v`, temperature inside by `temp_band_c`, a valid reading) for "
        "`release_dwell_s` without interruption; an absent reading interrupts a cause it belongs to.",
        reason="Without band and dwell a pack at its limit is switched on and off for hours.",
        check=trips,
    ),
    Requirement(
        id=TO_BULK,
        title="inhibited leads to bulk",
        statement="Inhibited is left only for bulk.",
        reason="What was proved before the trip is no longer proved after it.",
        check=trips,
    ),
    Requirement(
        id=BLOCKED,
        title="no full reset while inhibited",
        statement="No full reset is reported while the stage is inhibited.",
        reason="A cell at its limit says that the cells differ, not that the pack is full.",
        check=resets,
        features={"full_reset"},
    ),
)
