"""One cell over one step, on plain numbers: seen ahead as a source, and where it arrives.

The theory is in `harness.world.plant`. Whoever moves a bank, in arrays (`harness.world.step`) or in
registers (`harness.world.single`), comes here for what a cell does. Sums are written so that what is
known last comes last: the processor then waits for as little as can be.
"""

from __future__ import annotations

from typing import NamedTuple

from harness.world import rows
from harness.world.compiling import part
from harness.world.curves import open_circuit
from harness.world.lane_numbers import floor, pick, power_of_two
from harness.world.rows import Floats

# Within these a cell is a cell.
LEAST_SOC, MOST_SOC = -0.05, 1.10


class Weights(NamedTuple):
    """What a step of one length does to a cell: the rows of `State.cells` of the same names."""

    left_1: float
    start_1: float
    end_1: float
    left_2: float
    start_2: float
    end_2: float
    starts: float
    ends: float
    bare_ohm: float
    half_in: float
    half_out: float
    leaked: float


class CellNow(NamedTuple):
    """What of a cell goes from step to step: the rows of `State.cells` of the same names."""

    soc: float
    pair_1_v: float
    pair_2_v: float


class Lag(NamedTuple):
    """Hysteresis of a cell at the start of a step.

    Attributes:
        v: half the distance between the curves, V; 0 is none.
        rate: e-folds per unit of SoC.
        share: of `v` at `soc`, -1 to 1.
        soc: state of charge, less what is lost in the step without a current.
    """

    v: float
    rate: float
    share: float
    soc: float


class Tangent(NamedTuple):
    """Open-circuit voltage with hysteresis about where a step ends.

    Attributes:
        soc: where the tangent touches.
        half: what half a step adds to the SoC, per A.
        v: voltage there, V.
        slope: V per unit of SoC.
    """

    soc: float
    half: float
    v: float
    slope: float


@part
def weights(row: Floats) -> Weights:
    """Out of a cell's row of `State.cells`."""
    return Weights(
        row[rows.LEFT_1], row[rows.START_1], row[rows.END_1],
        row[rows.LEFT_2], row[rows.START_2], row[rows.END_2],
        row[rows.STARTS], row[rows.ENDS], row[rows.BARE_OHM],
        row[rows.HALF_IN], row[rows.HALF_OUT], row[rows.LEAKED],
    )  # fmt: skip


@part
def cell_now(row: Floats) -> CellNow:
    """Out of a cell's row of `State.cells`."""
    return CellNow(row[rows.SOC], row[rows.PAIR_1_V], row[rows.PAIR_2_V])


@part
def lag_of(row: Floats) -> Lag:
    """Out of a cell's row of `State.cells`."""
    kept_soc = row[rows.SOC] - row[rows.LEAKED]
    return Lag(row[rows.LAG_V], row[rows.LAG_RATE], row[rows.HYSTERESIS], kept_soc)


# For `exponential`: 1 / ln 2, and ln 2 in two parts of which the first has room for a factor.
_PER_LN_2, _LN_2, _LN_2_REST = 1.4426950408889634, 0.6931471803691238, 1.9082149292705877e-10


@part
def exponential(x: float) -> float:
    """E to the power of `x`, which is 0 or less; exact but for the last digit.

    By additions and multiplications alone, so that it takes many numbers at once
    (`harness.world.lane_numbers`), each to the same bits.
    """
    x = max(x, -700.0)
    twos = floor(x * _PER_LN_2 + 0.5)
    r = (x - twos * _LN_2) - twos * _LN_2_REST
    # The series, from |r| of at most ln 2 / 2 on, its halves side by side.
    r2 = r * r
    r4 = r2 * r2
    low = (1.0 + r) + r2 * (1.0 / 2.0 + r * (1.0 / 6.0))
    middle = (1.0 / 24.0 + r * (1.0 / 120.0)) + r2 * (1.0 / 720.0 + r * (1.0 / 5040.0))
    high = (1.0 / 40320.0 + r * (1.0 / 362880.0)) + r2 * (1.0 / 3628800.0 + r * (1.0 / 39916800.0))
    top = 1.0 / 479001600.0 + r * (1.0 / 6227020800.0)
    found: float = power_of_two(twos) * (low + r4 * (middle + r4 * (high + r4 * top)))
    return found


@part
def hysteresis_after(before: float, moved_soc: float, rate: float) -> tuple[float, float]:
    """Share of the hysteresis (-1 to 1) after the SoC moved, and its slope over SoC."""
    sign = pick(moved_soc >= 0.0, 1.0, -1.0)
    after = sign + (before - sign) * exponential(-rate * abs(moved_soc))
    return after, rate * (1.0 - sign * after)


@part
def lagging(lag: Lag, soc: float, half: float, v: float, slope: float) -> Tangent:
    """The tangent at `soc` of the curve, of which voltage and slope are given, with hysteresis."""
    if lag.v > 0.0:
        share, rise = hysteresis_after(lag.share, soc - lag.soc, lag.rate)
        v = v + lag.v * share
        slope = slope + lag.v * rise
    return Tangent(soc, half, v, slope)


@part
def touching(curve: Floats, lag: Lag, soc: float, half: float) -> Tangent:
    """The tangent at `soc`."""
    v, slope = open_circuit(curve, soc)
    return lagging(lag, soc, half, v, slope)


@part
def cell_ahead(
    by: Weights, now: CellNow, along: Tangent, out_a: float, start_a: float
) -> tuple[float, float, float]:
    """The cell at the end of the step as a source in its pack.

    Args:
        by: of the step.
        now: at its start.
        along: the tangent of the step.
        out_a: what electronics and balancer draw from the cell, A.
        start_a: the cell's current at the start of the step, A.

    Returns:
        Its voltage without current in the pack (V), its resistance (Ω), and how far from where the
        tangent touches the SoC would then come out.
    """
    off_soc = (now.soc - by.leaked) + (along.half * start_a - along.soc)
    ohm = along.slope * along.half + by.ends
    known_v = (along.v - ohm * out_a) + by.starts * start_a
    late_v = by.left_1 * now.pair_1_v + along.slope * off_soc
    return (known_v + by.left_2 * now.pair_2_v) + late_v, ohm, off_soc


@part
def behind(
    cells_v: float, cells_ohm: float, series: float, lead_ohm: float, through: float
) -> tuple[float, float, float]:
    """Rest voltage (V), resistance (Ω) and siemens of a pack behind its lead, of its cells' sums."""
    ohm = cells_ohm * series + lead_ohm
    return cells_v * series, ohm, through / ohm


@part
def soc_after(by: Weights, now: CellNow, half: float, start_a: float, end_a: float) -> float:
    """SoC after a step during which the cell's current keeps its direction.

    Args:
        by: of the step.
        now: at its start.
        half: what half the step adds to the SoC, per A, in that direction.
        start_a: the cell's current at the start of the step, A.
        end_a: the same at the end, A.
    """
    return (now.soc - by.leaked) + half * (start_a + end_a)


@part
def soc_after_turning(by: Weights, now: CellNow, start_a: float, end_a: float) -> float:
    """`soc_after` where the current turns: only the charging part of its line is counted less."""
    in_a, out_a = max(start_a, end_a), min(start_a, end_a)
    moved_soc = by.half_in * in_a * in_a - by.half_out * out_a * out_a
    return (now.soc - by.leaked) + moved_soc / (in_a - out_a)


@part
def cell_after(
    by: Weights, now: CellNow, along: Tangent, soc: float, start_a: float, end_a: float
) -> tuple[CellNow, float, float]:
    """The cell after a step to `soc`, its open-circuit voltage with hysteresis, and its voltage, V."""
    open_v = along.v + along.slope * (soc - along.soc)
    pair_1_v = by.end_1 * end_a + (by.start_1 * start_a + by.left_1 * now.pair_1_v)
    pair_2_v = by.end_2 * end_a + (by.start_2 * start_a + by.left_2 * now.pair_2_v)
    cell_v = (open_v + pair_1_v) + (pair_2_v + by.bare_ohm * end_a)
    return CellNow(soc, pair_1_v, pair_2_v), open_v, cell_v


@part
def soc_after_next(now: CellNow, half: float, start_a: float) -> float:
    """SoC at the end of the next step if the current stays what it was at the start of this one.

    From before the end of this step is known, so that the processor need not wait for it.
    """
    return now.soc + half * (4.0 * start_a)
