"""The final table of a study: a row for each arm and measure, and a row for each comparison."""

from __future__ import annotations

from enum import Enum
from typing import TypeVar

import numpy as np
from attrs import evolve, field, frozen

from harness.run import Floats
from harness.study.bootstrap import LEVEL, RESAMPLES, Intervals, Resamples, bias_corrected
from harness.study.measures import MEASURES, Kind, Measure
from harness.study.paired import FLIPS, Difference, Pair, differences, pairs_of
from harness.study.pareto import not_dominated
from harness.study.pooled import Shares, at_most_differ, left_out, same_in_every_bank, shares_of
from harness.study.results import Facts, Results

# Of intervals of 95 % by 20 banks of a skewed law, 90 % hold the truth; by 80 banks, 94 %.
FEW_BANKS = 30
# The two goals between which a rule has to choose.
GOALS = ("false_fulls", "missed_fulls")
# With so many exchanges for each pair, the least p value after the correction is 0.01.
FLIPS_A_PAIR, MOST_FLIPS = 100, 99_999
# Beyond so many digits, values depend on the order in which a machine adds.
DIGITS = 10


class Standing(Enum):
    """What a comparison says."""

    FIRST_BETTER = "the first is better"
    SECOND_BETTER = "the second is better"
    NOT_TOLD_APART = "not told apart"
    SAME = "the same in every bank"
    UNDEFINED = "not defined"


@frozen
class Estimate:
    """One measure in one arm; not a number for what is not defined.

    Attributes:
        arm: its number.
        measure: name of the measure.
        value: of all banks that ran.
        low: lower end of its interval.
        high: upper end.
        banks: in how many banks the measure is defined.
        note: why there is no interval, or what to think of it; empty for nothing.
    """

    arm: int
    measure: str
    value: float
    low: float
    high: float
    banks: int
    note: str


@frozen
class Comparison:
    """Two arms in one measure.

    Attributes:
        measure: name of the measure.
        difference: how much they differ, and how sure that is.
        standing: what that says, at the level of the study, after Holm's correction.
        note: why there is no interval, or what to think of it; empty for nothing.
    """

    measure: str
    difference: Difference
    standing: Standing
    note: str


Row = TypeVar("Row", Estimate, Comparison)


@frozen
class Stop:
    """A bank in which the physics gave up.

    Attributes:
        bank: its number.
        arms: in which arms.
    """

    bank: int
    arms: tuple[int, ...]


@frozen(kw_only=True)
class Table:
    """The final table.

    Attributes:
        facts: what was studied.
        level: of confidence.
        resamples: how often banks were drawn again for the intervals.
        flips: how many exchanges were tried for the tests.
        there: how many banks have rows.
        estimates: one for each arm and measure, by measure, then by arm.
        comparisons: one for each pair and measure, by measure, then by pair.
        front: numbers of the arms that no other beats in false and missed full resets.
        stops: banks that are left out of some arms, by their numbers.
    """

    facts: Facts
    level: float
    resamples: int
    flips: int
    there: int
    estimates: tuple[Estimate, ...]
    comparisons: tuple[Comparison, ...]
    front: tuple[int, ...]
    stops: tuple[Stop, ...]
    _of: dict[str, tuple[Estimate, ...]] = field(init=False, repr=False, eq=False)
    _in: dict[str, tuple[Comparison, ...]] = field(init=False, repr=False, eq=False)

    @_of.default
    def _estimates_by_measure(self) -> dict[str, tuple[Estimate, ...]]:
        return _by_measure(self.estimates)

    @_in.default
    def _comparisons_by_measure(self) -> dict[str, tuple[Comparison, ...]]:
        return _by_measure(self.comparisons)

    def of(self, measure: str) -> tuple[Estimate, ...]:
        """One measure in every arm, in the order of the arms."""
        return self._of.get(measure, ())

    def compared_in(self, measure: str) -> tuple[Comparison, ...]:
        """The comparisons in one measure."""
        return self._in.get(measure, ())


def _by_measure(rows: tuple[Row, ...]) -> dict[str, tuple[Row, ...]]:
    return {
        measure: tuple(each for each in rows if each.measure == measure)
        for measure in dict.fromkeys(each.measure for each in rows)
    }


def table_of(
    results: Results, *, resamples: int = RESAMPLES, flips: int = FLIPS, level: float = LEVEL
) -> Table:
    """The final table; the same rows and numbers give the same table.

    Args:
        results: rows of a study.
        resamples: how often banks are drawn again for the intervals.
        flips: how many exchanges are tried for a test that is not exact; more where there are so
            many pairs that Holm's correction would leave nothing of the least p value.
        level: of confidence.

    Raises:
        InputError: a row cannot be used.
    """
    facts = results.facts
    drawn = Resamples(facts.seed, len(results.banks), resamples)
    pairs = pairs_of(facts.arms)
    flips = max(flips, min(FLIPS_A_PAIR * len(pairs) - 1, MOST_FLIPS))
    estimates: list[Estimate] = []
    comparisons: list[Comparison] = []
    for measure in MEASURES:
        shares = shares_of(results, measure)
        estimates += _estimates(shares, drawn, level)
        comparisons += _comparisons(shares, pairs, drawn, flips, level)
    goals = (np.array([e.value for e in estimates if e.measure == goal]) for goal in GOALS)
    return Table(
        facts=facts,
        level=level,
        resamples=resamples,
        flips=flips,
        there=len(results.banks),
        estimates=tuple(estimates),
        comparisons=tuple(comparisons),
        front=tuple(np.flatnonzero(not_dominated(*goals)).tolist()),
        stops=tuple(
            Stop(int(results.banks[k]), tuple(np.flatnonzero(results.stopped[k]).tolist()))
            for k in np.flatnonzero(results.stopped.any(axis=1)).tolist()
        ),
    )


def _estimates(shares: Shares, drawn: Resamples, level: float) -> list[Estimate]:
    values, banks = shares.pooled(), shares.banks()
    ran = np.count_nonzero(shares.ran, axis=0)
    ends = _intervals(shares, values, drawn, level)
    same = same_in_every_bank(shares.upper, shares.lower)
    found = []
    for arm, value in enumerate(values.tolist()):
        defined = banks[arm] if np.isfinite(value) else 0
        low, high = float(ends.low[arm]), float(ends.high[arm])
        if defined == 0:
            note = "no bank ran to its end" if ran[arm] == 0 else _undefined(shares.measure)
        elif shares.measure.kind is Kind.LARGEST:
            note = "a largest value has no interval"
        else:
            note = _note(defined, bool(same[arm]), known=np.isfinite(low), level=level)
            if defined == 1 or same[arm]:
                low = high = np.nan
        found.append(
            Estimate(
                arm,
                shares.measure.name,
                _rounded(value),
                _rounded(low),
                _rounded(high),
                defined,
                note,
            )
        )
    return found


def _undefined(measure: Measure) -> str:
    return f"not defined: {measure.denominator} is 0 in every bank"


def _intervals(shares: Shares, values: Floats, drawn: Resamples, level: float) -> Intervals:
    arms = len(values)
    if shares.measure.kind is Kind.LARGEST:
        return Intervals(np.full(arms, np.nan), np.full(arms, np.nan))
    sums = drawn.sums(np.hstack([shares.upper, shares.lower]))
    resampled = shares.measure.of(sums[:, :arms], sums[:, arms:])
    without = left_out(shares.measure, shares.upper, shares.lower)
    return bias_corrected(values, resampled, without, level)


def _note(banks: int, same: bool, *, known: bool, level: float) -> str:
    if banks == 1:
        return "one bank: no interval"
    if same:
        most = f"{100.0 * at_most_differ(banks, level):.2g} %"
        sure = f"with {100.0 * level:g} % confidence"
        return f"the same in all {banks} banks: {sure} fewer than {most} of banks differ"
    if not known:
        return "no interval: it is defined in too few banks"
    return "few banks: a rough interval" if banks < FEW_BANKS else ""


def _comparisons(
    shares: Shares, pairs: tuple[Pair, ...], drawn: Resamples, flips: int, level: float
) -> list[Comparison]:
    found = differences(shares, pairs, drawn, flips=flips, level=level)
    return [
        Comparison(
            shares.measure.name,
            _rounded_difference(each),
            _standing(each, shares.measure, level),
            _note_of(each),
        )
        for each in found
    ]


def _standing(each: Difference, measure: Measure, level: float) -> Standing:
    if not np.isfinite(each.value):
        return Standing.UNDEFINED
    if each.differ == 0:
        return Standing.SAME
    if each.p_holm > 1.0 - level or each.value == 0.0:
        return Standing.NOT_TOLD_APART
    return (
        Standing.FIRST_BETTER
        if (each.value < 0.0) == measure.lower_is_better
        else Standing.SECOND_BETTER
    )


def _note_of(each: Difference) -> str:
    if each.banks == 0:
        return "no bank ran to its end in both"
    if not np.isfinite(each.value):
        return "not defined in one of them"
    if each.banks == 1:
        return "one bank: no interval, and no test can tell"
    if each.differ == 0:
        return f"no bank of {each.banks} differs"
    if not np.isfinite(each.low):
        return "no interval: every bank differs by the same, or too few are defined"
    return "few banks: a rough interval" if each.banks < FEW_BANKS else ""


def _rounded_difference(each: Difference) -> Difference:
    return evolve(
        each,
        value=_rounded(each.value),
        low=_rounded(each.low),
        high=_rounded(each.high),
        p=_rounded(each.p),
        p_holm=_rounded(each.p_holm),
        d_z=_rounded(each.d_z),
        better_share=_rounded(each.better_share),
    )


def _rounded(value: float) -> float:
    return float(f"{value:.{DIGITS}g}") + 0.0
