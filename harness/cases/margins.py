"""How far a case keeps from every decision boundary.

A case that is not about a boundary must not stand on one: whoever rounds a voltage or has a clock
of his own would be judged by his rounding. What is here is worked out from the samples, the settings
and the expected stages alone, in another way than the recipes and the reference do it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from attrs import field, frozen

from ctrl.settings import Settings
from harness.cases.felt import Felt
from harness.run import Case, Flags, Floats, Trace

VOLTAGE_MARGIN_V = 0.005
CELL_MARGIN_V = 0.002
TEMPERATURE_MARGIN_C = 0.5
CURRENT_MARGIN_A = 0.5
# The end of a timer keeps this part of the interval it falls into from both its samples.
TIMER_MARGIN = 0.25
# An interval keeps this part of `max_gap_s` from it.
GAP_MARGIN = 0.1
# Sums of decimal fractions are not exact.
_ROUNDING = 1e-6


@frozen(eq=False)
class Samples:
    """The samples of a case, with what the rules say about each.

    Attributes:
        trace: every sample.
        stage: the expected stage after each sample.
        valid: whether the sample is valid.
        joined: whether it is continuous with the valid one before it, in the same power-up.
        shift_v: shift of the pack voltages with temperature, V.
    """

    settings: Settings
    trace: Trace
    stage: list[str]
    valid: Flags
    joined: Flags
    shift_v: Floats
    numbers: list[int] = field(factory=list)

    def level(self, name: str) -> Floats:
        """A pack voltage of the settings at the temperature of each sample, V."""
        value = getattr(self.settings, name)
        if name == "sag_v" and value is None:
            value = self.settings.entry_v
        return np.full(len(self.trace), float(value)) + self.shift_v

    def reading(self, name: str) -> Floats:
        """A column, NaN throughout where the trace does not have it."""
        if name not in self.trace.columns:
            return np.full(len(self.trace), np.nan)
        values = self.trace.column(name)
        return np.where(np.isfinite(values), values, np.nan)

    @property
    def hottest_c(self) -> Floats:
        """`temp_max_c`, and `temp_c` where that is absent."""
        hot_c, cold_c = self.reading("temp_max_c"), self.reading("temp_c")
        return np.where(np.isnan(hot_c), cold_c, hot_c)


def samples_of(case: Case) -> Samples:
    """Work out what the rules say about each sample of a case that states its stages.

    Raises:
        ValueError: the stages that the case states do not fit its samples.
    """
    settings, trace = case.settings, case.trace
    low_v, high_v = settings.plausible_v
    low_a, high_a = settings.plausible_i
    valid = np.isfinite(trace.t) & (trace.v >= low_v) & (trace.v <= high_v)
    valid &= (trace.i >= low_a) & (trace.i <= high_a)
    joined = np.zeros(len(trace), np.bool_)
    shift_v = np.zeros(len(trace))
    cold_c = trace.temp_c
    before, felt = -1, Felt(settings)
    for k in range(len(trace)):
        if k in case.power_cycles:
            before, felt = -1, Felt(settings)
        if valid[k]:
            if before >= 0:
                joined[k] = 0 <= trace.t[k] - trace.t[before] <= settings.max_gap_s + 1e-9
            before = k
            felt.read(float(trace.t[k]), np.nan if cold_c is None else float(cold_c[k]))
        shift_v[k] = felt.shift_v
    return Samples(settings, trace, stages_of(case), valid, joined, shift_v)


def stages_of(case: Case) -> list[str]:
    """The expected stage after each sample.

    Raises:
        ValueError: an expected stage begins at a stamp that no sample has, or out of order.
    """
    if case.expected is None:
        raise ValueError("the case states no stages")
    pending = list(case.expected.stages)
    stage = ""
    stages = []
    for t in case.trace.t:
        if pending and pending[0][0] == t:
            stage = pending.pop(0)[1]
        stages.append(stage)
    if pending or not stages or not stages[0]:
        wanted = pending[0] if pending else "the stage at the first sample"
        raise ValueError(f"no sample fits the expected stage {wanted}")
    return stages


def close_readings(case: Case) -> Iterator[str]:
    """Say which readings stand within a margin of a threshold, one sentence each."""
    samples = samples_of(case)
    settings = case.settings
    cell, cold = samples.reading("cell_max_v"), samples.reading("temp_c")
    checks: list[tuple[str, Floats, str, Floats | float | None, float, str]] = []
    for name in ("entry_v", "full_v") if settings.sag_v is None else ("entry_v", "full_v", "sag_v"):
        checks.append(("v", case.trace.v, name, samples.level(name), VOLTAGE_MARGIN_V, "V"))
    # A slow charge passes return_v in small steps, but only float compares with it.
    floating = np.array([stage == "float" for stage in samples.stage])
    floating[1:] |= floating[:-1].copy()
    in_float = np.where(floating, case.trace.v, np.nan)
    checks.append(("v", in_float, "return_v", samples.level("return_v"), VOLTAGE_MARGIN_V, "V"))
    checks.append(("v", case.trace.v, "empty_v", settings.empty_v, VOLTAGE_MARGIN_V, "V"))
    for bound in settings.plausible_v:
        checks.append(("v", case.trace.v, "plausible_v", bound, VOLTAGE_MARGIN_V, "V"))
    for bound in settings.plausible_i:
        checks.append(("i", case.trace.i, "plausible_i", bound, CURRENT_MARGIN_A, "A"))
    taper_a = settings.taper_a
    checks.append(("i", np.abs(case.trace.i), "taper_a", taper_a, CURRENT_MARGIN_A, "A"))
    checks.append(("cell_max_v", cell, "cell_limit_v", settings.cell_limit_v, CELL_MARGIN_V, "V"))
    checks.append(
        ("cell_max_v", cell, "cell_release_v", settings.cell_release_v, CELL_MARGIN_V, "V")
    )
    band = settings.temp_band_c
    low, high = settings.charge_min_c, settings.charge_max_c
    hot = samples.hottest_c
    for limit, inside, values, column in (
        (low, band, cold, "temp_c"),
        (high, -band, hot, "temp_max_c"),
    ):
        if limit is not None:
            name = "charge_min_c" if column == "temp_c" else "charge_max_c"
            checks.append((column, values, name, limit, TEMPERATURE_MARGIN_C, "degrees C"))
            checks.append(
                (
                    column,
                    values,
                    f"{name} and temp_band_c",
                    limit + inside,
                    TEMPERATURE_MARGIN_C,
                    "degrees C",
                )
            )
    if settings.equalisation_v is not None:
        most_c = settings.equalisation_max_c
        checks.append(
            ("temp_max_c", hot, "equalisation_max_c", most_c, TEMPERATURE_MARGIN_C, "degrees C")
        )
    for column, values, name, threshold, margin, unit in checks:
        if threshold is None:
            continue
        limits = np.broadcast_to(threshold, values.shape)
        close = np.flatnonzero(np.abs(values - limits) < margin - _ROUNDING)
        if len(close):
            k = int(close[0])
            yield (
                f"{column} {values[k]:g} {unit} at t {case.trace.t[k]:g} s is less than "
                f"{margin:g} {unit} from {name} ({limits[k]:g} {unit})"
            )
