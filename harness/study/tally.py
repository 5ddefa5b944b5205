"""What is summed up of a bank while it runs, compiled, and what a study's columns are made of.

A day is a calendar day of the simulated world. A step belongs to the day in which it begins, and so
does everything that is seen at its end: the truth, the samples, a full reset.
"""

from __future__ import annotations

from math import nan

import numpy as np
import numpy.typing as npt
from attrs import field, frozen

from ctrl.vocabulary import Stage
from harness.world.checks import number_within
from harness.world.compiling import part
from harness.world.daytime import DAY_S
from harness.world.lane_numbers import (
    LANES,
    Numbers,
    answers_of,
    bits_of,
    change,
    floor,
    pick,
    put,
    take,
)
from harness.world.result import Stop
from harness.world.rows import Floats

Counts = npt.NDArray[np.int64]

# Rows of a pack's sums of the run, then what the present day has seen.
RESETS, FALSE_RESETS, WORST_ERROR, RESET_ERROR_SQ, LAST_RESET_S, LONGEST_S = range(6)
FULL_DAYS, MISSED_DAYS, TO_FULL_S, TO_FULL_DAYS, FLOAT_TO_BULK = range(6, 11)
ERROR_SQ, STEPS_ABOVE_345, STEPS_ABOVE_350 = range(11, 14)
FULL_TODAY, RESET_TODAY, CHARGING_FROM_S = range(14, 17)
# Whether it was used since it was full last; the bin of the error that is counted at the moment, and
# since which step it is.
USED, HELD_BIN, SINCE_STEP = range(17, 20)
PACK_ROWS = 20
# Rows of a bank's sums: what the charger could have made of the sun, and what loads were denied, J.
AVAILABLE_J, DENIED_J = range(2)
BANK_ROWS = 2

ABOVE_345_V, ABOVE_350_V = 3.45, 3.50
ERROR_BINS, BINS_PER_UNIT = 1000, 1000.0
FLOAT, BULK = int(Stage.FLOAT), int(Stage.BULK)


@frozen(kw_only=True)
class Thresholds:
    """What is called false, and what is called full.

    Attributes:
        false_full_below_soc: a full reset at a true SoC below this is false; a pack that was below it
            has been used.
        truly_full_soc: a pack that reaches this true SoC, and has been used since it was full last,
            becomes truly full on that day.

    Raises:
        InputError: not a fraction.
    """

    false_full_below_soc: float = field(
        default=0.97, validator=number_within(0.0, 1.0, "(a fraction)")
    )
    truly_full_soc: float = field(default=0.99, validator=number_within(0.0, 1.0, "(a fraction)"))


@part
def tally_reset(pack: Floats, t: float, true_soc: float, false_below: float) -> None:
    """A full reset of the pack with these sums at time `t`, s; one arm, shape (PACK_ROWS,)."""
    error = 1.0 - true_soc
    pack[RESETS] += 1.0
    if true_soc < false_below:
        pack[FALSE_RESETS] += 1.0
    pack[WORST_ERROR] = max(pack[WORST_ERROR], error)
    pack[RESET_ERROR_SQ] += error * error
    pack[LONGEST_S] = max(pack[LONGEST_S], t - pack[LAST_RESET_S])
    pack[LAST_RESET_S] = t
    if pack[RESET_TODAY] == 0.0 and pack[CHARGING_FROM_S] >= 0.0:
        pack[TO_FULL_S] += t - pack[CHARGING_FROM_S]
        pack[TO_FULL_DAYS] += 1.0
    pack[RESET_TODAY] = 1.0


@part
def tally_charging(x: Floats, q: int, charger_a: Numbers, pack_a: Numbers, t: float) -> None:
    """Keep when a pack was first charged on this day: at `t`, s, where it is now and was not yet."""
    since_s = take(x, q + CHARGING_FROM_S)
    first = (charger_a > 0.0) & (pack_a > 0.0) & ~(since_s >= 0.0)
    if bits_of(first) != 0:
        put(x, q + CHARGING_FROM_S, pick(first, t, since_s))


@part
def tally_step(
    x: Floats, q: int, errors: Counts, which: int, counted_soc: Numbers, true_soc: Numbers,
    cell_v: Numbers, k: int, false_below: float, truly_full: float,
) -> None:  # fmt: skip
    """Add the end of step `k` of a pack to its sums.

    Args:
        x: rows of a block.
        q: the first of the pack's sums.
        errors: of the block; shape (LANES, ERROR_BINS).
        which: bits of the lanes that run.
        counted_soc: of its controllers.
        true_soc: of the pack.
        cell_v: its highest cell voltage, V.
        k: number of the step.
        false_below: of `Thresholds`.
        truly_full: of `Thresholds`.
    """
    error = counted_soc - true_soc
    put(x, q + ERROR_SQ, take(x, q + ERROR_SQ) + error * error)
    used = pick(true_soc < false_below, 1.0, take(x, q + USED))
    full = (true_soc >= truly_full) & (used > 0.0)
    if bits_of(full) != 0:
        put(x, q + FULL_TODAY, pick(full, 1.0, take(x, q + FULL_TODAY)))
        used = pick(full, 0.0, used)
    put(x, q + USED, used)
    # Seldom true of any arm.
    above = cell_v > ABOVE_345_V
    if bits_of(above) != 0:
        above_345, above_350 = take(x, q + STEPS_ABOVE_345), take(x, q + STEPS_ABOVE_350)
        put(x, q + STEPS_ABOVE_345, above_345 + pick(above, 1.0, 0.0))
        put(x, q + STEPS_ABOVE_350, above_350 + pick(cell_v > ABOVE_350_V, 1.0, 0.0))
    # An error stays in its bin for long: how long is looked up only when it leaves.
    now = min(floor(abs(error) * BINS_PER_UNIT), ERROR_BINS - 1.0)
    left = bits_of(now != take(x, q + HELD_BIN)) & which
    if left != 0:
        for a in range(LANES):
            if left >> a & 1:
                held, since = (q + HELD_BIN) * LANES + a, (q + SINCE_STEP) * LANES + a
                errors[a, int(x[held])] += k - int(x[since])
                x[since] = k
        change(x, q + HELD_BIN, answers_of(left), now)


@part
def tally_end(pack: Floats, errors: Counts, k: int) -> None:
    """The end of a run of so many steps, for one arm; the sums as in `tally_day`."""
    errors[int(pack[HELD_BIN])] += k - int(pack[SINCE_STEP])
    tally_day(pack)


@part
def tally_day(pack: Floats) -> None:
    """The end of a day of the pack with these sums; one arm, shape (PACK_ROWS,)."""
    if pack[FULL_TODAY] > 0.0:
        pack[FULL_DAYS] += 1.0
        if pack[RESET_TODAY] == 0.0:
            pack[MISSED_DAYS] += 1.0
    pack[FULL_TODAY], pack[RESET_TODAY], pack[CHARGING_FROM_S] = 0.0, 0.0, nan


@part
def day_of(start_s: float, step_s: float, k: int) -> int:
    """In which day step `k` begins; `start_s` is counted from midnight of the first day."""
    return int((start_s + k * step_s) / DAY_S)


@frozen(eq=False)
class Tallied:
    """What came of one bank in one arm.

    Attributes:
        packs: sums of each pack; shape (packs, PACK_ROWS).
        errors: of `Tally.errors`.
        ran_s: how long it ran, s.
        step_s: length of a step, s.
        lead: index of the lead pack.
        available_j: what the charger could have made of the sun, J; 0 where there is none.
        charger_j: what the charger gave at its terminals, J.
        load_j: what the loads took at the bus, J.
        stored_j: by how much the energy of the cells at rest has grown, J.
        denied_j: what the loads wanted while the inverter had given up, J.
        true_soc: of each pack at the end; shape (packs,).
        counted_soc: what each controller counts at the end; shape (packs,).
        terminal_v: voltage of each pack at the end, V; shape (packs,).
        stop: why it ended early; None where it did not.
    """

    packs: Floats
    errors: Counts
    ran_s: float
    step_s: float
    lead: int
    available_j: float
    charger_j: float
    load_j: float
    stored_j: float
    denied_j: float
    true_soc: Floats
    counted_soc: Floats
    terminal_v: Floats
    stop: Stop | None = None

    def error_quantile(self, share: float) -> float:
        """The |counted - true SoC| that this share of all packs and steps stays under.

        Linear inside a bin; NaN where nothing ran.
        """
        total = int(self.errors.sum())
        if total == 0:
            return nan
        wanted, below = share * total, np.concatenate([[0], np.cumsum(self.errors)])
        k = int(np.searchsorted(below, wanted, side="left")) - 1
        k = max(k, 0)
        return float((k + (wanted - below[k]) / self.errors[k]) / BINS_PER_UNIT)
