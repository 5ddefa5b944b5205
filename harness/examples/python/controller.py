"""An example battery charge controller that speaks the line protocol.

One JSON object a line comes in on standard input, one goes out on standard output. The program
follows every charge control rule of the project and needs only the standard library. It is made
to be read and to be tried on a test bench, not to charge a battery. `Controller` can be used in
process too.

One step, in this order:

1. validity and continuity: everything below speaks of samples that can be believed;
2. counting, then the empty rule: before all that decides by the state of charge;
3. protection, trips before release: before the stages, because it may forbid what they would do;
4. a discontinuity, or else the rules of the stage: at most one change of stage a sample;
5. the outputs of the stage that is then reached.

A limit that is none and a reading that is absent are both NaN. Every comparison with NaN is
false, so each one below is written in the direction in which false is what the rules ask for.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Mapping
from typing import Any, NamedTuple

SLACK = 1e-9  # seconds; times that are meant to be equal differ in their last digits
MAY_BE_NONE = "sag_v taper_a float_s return_soc empty_v cell_limit_v charge_min_c charge_max_c".split()
NAMES = MAY_BE_NONE + (
    "cells capacity_ah absorption_v entry_v entry_dwell_s hold_s on_sag full_v confirm_s"
    " on_unconfirmed wait_limit_s float_v return_v return_dwell_s charge_current_a"
    " charge_efficiency soc_ceiling empty_dwell_s cell_release_v temp_band_c trip_dwell_s"
    " release_dwell_s max_gap_s plausible_v plausible_i compensation_v_per_c reference_c"
).split()


class Sample(NamedTuple):
    """One sample; what is absent is NaN."""

    t: float
    v: float
    i: float
    cell_max_v: float
    temp_c: float
    temp_max_c: float


def finite(value: float | None) -> float:
    """Make a reading a number, NaN where it is missing or not finite."""
    return value if value is not None and math.isfinite(value) else math.nan


def charging_part(start_a: float, end_a: float) -> float:
    """Average the positive part of a current that runs straight from one value to the other."""
    if start_a >= 0 and end_a >= 0:
        return (start_a + end_a) / 2
    if start_a <= 0 and end_a <= 0:
        return 0.0
    high_a = max(start_a, end_a)
    return high_a * high_a / abs(end_a - start_a) / 2


class Controller:
    """The charge controller of one pack."""

    name = "example-python"
    version = "1.0"
    features = (
        "soc full_reset requests float_timer return_voltage return_soc sag_pause sag_restart"
        " confirm taper wait empty_reset cell_protection temperature_protection compensation"
        " power_cycle"
    ).split()

    def __init__(self, settings: Mapping[str, Any], soc: float) -> None:
        """Start from a full set of settings; refuse one in which a name is missing."""
        missing = [name for name in NAMES if name not in settings]
        missing += [name for name in NAMES if name not in MAY_BE_NONE and settings.get(name) is None]
        if missing:
            raise ValueError(f"settings are missing: {', '.join(missing)}")
        self.settings = {name: math.nan if settings[name] is None else settings[name] for name in NAMES}
        if settings["sag_v"] is None:
            self.settings["sag_v"] = settings["entry_v"]
        self.soc = soc
        self.power_cycle()

    def power_cycle(self) -> None:
        """Forget everything but the state of charge."""
        self.stage = "bulk"
        self.confirming = False
        self.full_reset = False
        self.emptied = False  # the empty reset has been made and the voltage not been above since
        self.sagged = False  # the last valid sample was below sag_v
        self.tripped: set[str] = set()  # every cause that keeps charging inhibited
        self.since: dict[str, float] = {}  # where each condition that is true began to be so
        self.last: Sample | None = None  # the last valid sample
        self.last_temp_c = math.nan
        self.heard_t = math.nan  # the last valid sample, or else the first of any kind
        self.hold_since = self.expired_t = self.float_since = math.nan

    def step(
        self,
        t: float | None,
        v: float | None,
        i: float | None,
        cell_max_v: float | None = None,
        temp_c: float | None = None,
        temp_max_c: float | None = None,
    ) -> dict[str, Any]:
        """Take one sample and give the outputs."""
        hottest_c = temp_c if math.isnan(finite(temp_max_c)) else temp_max_c
        readings = (t, v, i, cell_max_v, temp_c, hottest_c)
        self._decide(Sample(*map(finite, readings)))
        requested = "float_v" if self.stage in ("float", "inhibited") else "absorption_v"
        return {
            "stage": self.stage,
            "soc": self.soc,
            "full_reset": self.full_reset,
            "voltage_request_v": self._level(requested),
            "current_request_a": 0 if self.stage == "inhibited" else self.settings["charge_current_a"],
        }
