"""The measures of a study: what each is called, its unit, and of which columns it is made.

Nearly every measure is the sum of one column over banks, divided by the sum of another. So a bank
on which more happened weighs more, and a bank on which nothing could happen does no harm.
"""

from __future__ import annotations

from enum import Enum

import numpy as np
from attrs import frozen

from harness.run import Floats

YEAR_DAYS = 365.0


class Kind(Enum):
    """How the values of banks become one."""

    RATIO = "sum over banks of one column, divided by the sum of another"
    MEAN = "mean over banks of one column"
    LARGEST = "largest value of any bank"


@frozen
class Measure:
    """One measure.

    Attributes:
        name: in tables, lasting.
        title: for people.
        unit: of its values; `share` and `SoC` are fractions of 1.
        kind: how the values of banks become one.
        numerator: name of the column that is summed up, averaged, or of which the largest is taken.
        denominator: name of the column by whose sum it is divided; empty where it is the number of
            banks, or where the largest is taken.
        per: how much of the denominator's unit is one unit of the measure, as 365 days are a year.
        root: whether the square root is taken last.
        lower_is_better: whether a lower value is the better one.
        headline: whether it stands in the short table.
        meaning: one sentence of what it says.
    """

    name: str
    title: str
    unit: str
    kind: Kind
    numerator: str
    denominator: str
    meaning: str
    per: float = 1.0
    root: bool = False
    lower_is_better: bool = True
    headline: bool = False

    @property
    def formula(self) -> str:
        """How it is worked out, in the names of the columns."""
        if self.kind is Kind.LARGEST:
            return f"max({self.numerator})"
        if self.kind is Kind.MEAN:
            return f"sum({self.numerator}) / banks"
        divisor = f"sum({self.denominator})"
        if self.per != 1.0:
            divisor = f"({divisor} / {self.per:g})"
        ratio = f"sum({self.numerator}) / {divisor}"
        return f"sqrt({ratio})" if self.root else ratio

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns that it is made of."""
        return tuple(name for name in (self.numerator, self.denominator) if name)

    @property
    def is_fraction(self) -> bool:
        """Whether people read it in percent."""
        return self.unit in ("share", "SoC")

    def of(self, numerator: Floats, denominator: Floats) -> Floats:
        """Values from sums of the two columns, or from one bank's; not a number where undefined.

        Args:
            numerator: sums, of any shape.
            denominator: sums, of the same shape; for a mean the number of banks.
        """
        defined = denominator > 0.0
        ratio: Floats = np.full(np.shape(numerator), np.nan)
        np.divide(numerator, denominator, out=ratio, where=defined)
        ratio *= self.per
        # Less than nothing is what is left of a sum after all of its parts were taken out.
        return np.sqrt(np.maximum(ratio, 0.0)) if self.root else ratio


MEASURES = (
    Measure(
        "false_fulls",
        "false fulls",
        "a pack-year",
        Kind.RATIO,
        "false_resets",
        "pack_days",
        "How often a pack is called full that is not.",
        per=YEAR_DAYS,
        headline=True,
    ),
    Measure(
        "missed_fulls",
        "missed full days",
        "share",
        Kind.RATIO,
        "missed_days",
        "full_days",
        "Of the days on which a pack became truly full, the share on which nobody called it so.",
        headline=True,
    ),
    Measure(
        "false_share",
        "full resets that are false",
        "share",
        Kind.RATIO,
        "false_resets",
        "resets",
        "Of all full resets, the share that found a pack which was not full.",
    ),
    Measure(
        "worst_false_full",
        "worst false full",
        "SoC",
        Kind.LARGEST,
        "worst_reset_error",
        "",
        "By how much the worst full reset of any bank was wrong.",
    ),
    Measure(
        "soc_error",
        "error of the count, RMS",
        "SoC",
        Kind.RATIO,
        "error_sq_days",
        "pack_days",
        "How far the counted state of charge is from the true one, over all time.",
        root=True,
        headline=True,
    ),
    Measure(
        "soc_error_p95",
        "error of the count, 95 %",
        "SoC",
        Kind.MEAN,
        "error_p95",
        "",
        "What the error of the count stays below for 95 % of the time.",
    ),
    Measure(
        "reset_error",
        "error right after a reset, RMS",
        "SoC",
        Kind.RATIO,
        "reset_error_sq",
        "resets",
        "How far a pack is from full when it is called full.",
        root=True,
    ),
    Measure(
        "time_to_full",
        "time to full",
        "h",
        Kind.RATIO,
        "to_full_h",
        "to_full_days",
        "From the first charging of a day to its first full reset, on days that have one.",
        headline=True,
    ),
    Measure(
        "above_345",
        "highest cell above 3.45 V",
        "h a pack-year",
        Kind.RATIO,
        "above_345_h",
        "pack_days",
        "How long the highest cell of a pack stands above 3.45 V.",
        per=YEAR_DAYS,
    ),
    Measure(
        "above_350",
        "highest cell above 3.50 V",
        "h a pack-year",
        Kind.RATIO,
        "above_350_h",
        "pack_days",
        "How long the highest cell of a pack stands above 3.50 V.",
        per=YEAR_DAYS,
        headline=True,
    ),
    Measure(
        "float_to_bulk",
        "returns from float to bulk",
        "a pack-day",
        Kind.RATIO,
        "float_to_bulk",
        "pack_days",
        "How often a pack goes round: float, then bulk once more.",
    ),
    Measure(
        "never_reset",
        "followers never reset",
        "share",
        Kind.RATIO,
        "followers_never_reset",
        "followers",
        "Of the packs that do not lead, the share without a single full reset in the whole run.",
        headline=True,
    ),
    Measure(
        "longest_without",
        "longest stretch without a reset",
        "days",
        Kind.MEAN,
        "longest_without_days",
        "",
        "The longest stretch in which some pack of a bank had no full reset.",
    ),
    Measure(
        "heat",
        "lost as heat",
        "kWh a bank-year",
        Kind.RATIO,
        "heat_kwh",
        "ran_days",
        "What became heat in packs and wiring.",
        per=YEAR_DAYS,
    ),
    Measure(
        "sun_unused",
        "sun not used",
        "kWh a bank-year",
        Kind.RATIO,
        "sun_unused_kwh",
        "ran_days",
        "What the charger could have made of the sun, and did not.",
        per=YEAR_DAYS,
    ),
    Measure(
        "denied",
        "loads refused",
        "kWh a bank-year",
        Kind.RATIO,
        "denied_kwh",
        "ran_days",
        "What the loads asked for, and did not get.",
        per=YEAR_DAYS,
    ),
)
_BY_NAME = {measure.name: measure for measure in MEASURES}


def measure_named(name: str) -> Measure:
    """The measure of this name.

    Raises:
        KeyError: there is none.
    """
    return _BY_NAME[name]
