"""What each bank adds to a measure, and the measure of all banks together."""

from __future__ import annotations

import numpy as np
from attrs import frozen

from harness.run import Floats
from harness.study.measures import Kind, Measure
from harness.study.results import Flags, Results


@frozen(eq=False)
class Shares:
    """What each bank adds to one measure, in each arm; 0 where a bank stopped.

    Attributes:
        measure: it.
        upper: of the shape (banks, arms): what is summed up, averaged, or of which the largest is
            taken.
        lower: of the same shape: by whose sum it is divided; 1 for each bank that ran where there
            is no such column.
        ran: of the same shape: whether a bank ran to its end.
    """

    measure: Measure
    upper: Floats
    lower: Floats
    ran: Flags

    def pooled(self) -> Floats:
        """The measure in each arm, of the shape (arms,); not a number where undefined."""
        if self.measure.kind is Kind.LARGEST:
            largest = np.where(self.ran, self.upper, -np.inf).max(axis=0, initial=-np.inf)
            return np.where(np.isfinite(largest), largest, np.nan)
        return self.measure.of(self.upper.sum(axis=0), self.lower.sum(axis=0))

    def by_bank(self) -> Floats:
        """The measure of each bank alone, of the shape (banks, arms); not a number where undefined."""
        return self.measure.of(self.upper, self.lower)

    def banks(self) -> tuple[int, ...]:
        """In how many banks it is defined, for each arm."""
        return tuple(np.count_nonzero(self.lower > 0.0, axis=0).tolist())


def shares_of(results: Results, measure: Measure) -> Shares:
    """What each bank adds.

    Args:
        results: rows of a study.
        measure: of what.

    Raises:
        InputError: a row cannot be used.
    """
    upper = results.column(measure.numerator)
    ones: Floats = results.ran.astype(np.float64)
    lower = results.column(measure.denominator) if measure.denominator else ones
    return Shares(measure, upper, lower, results.ran)


def same_in_every_bank(upper: Floats, lower: Floats) -> Flags:
    """Where every bank says the same, so that drawing banks again cannot tell how sure that is.

    Args:
        upper: what each bank adds above the line, of the shape (banks, n).
        lower: the same below it.

    Returns:
        Of the shape (n,).
    """
    total, below = upper.sum(axis=0), lower.sum(axis=0)
    ratio = np.divide(total, below, out=np.zeros_like(total), where=below > 0.0)
    off = np.abs(upper - ratio * lower).max(axis=0, initial=0.0)
    flags: Flags = off <= 1e-12 * np.abs(upper).max(axis=0, initial=0.0)
    return flags


def left_out(measure: Measure, upper: Floats, lower: Floats) -> Floats:
    """The measure with one bank left out at a time, of the shape (banks, n).

    Args:
        measure: it.
        upper: what each bank adds above the line, of the shape (banks, n).
        lower: the same below it.
    """
    rest_above = upper.sum(axis=0) - upper
    rest_below = lower.sum(axis=0) - lower
    # What is left of a sum after its only part is taken out is noise, not 0.
    rest_below[rest_below <= 1e-12 * lower.sum(axis=0)] = 0.0
    return measure.of(rest_above, rest_below)


def at_most_differ(banks: int, level: float) -> float:
    """Which share of banks can differ at most, where none of so many does: 1 - (1 - level)^(1/banks).

    Args:
        banks: how many all said the same.
        level: of confidence.
    """
    share: float = 1.0 - (1.0 - level) ** (1.0 / banks)
    return share
