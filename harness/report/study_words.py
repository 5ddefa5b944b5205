"""What a study found, in words: values with their intervals, and what differs from what."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import floor, isfinite, log10

from attrs import frozen

from harness.report.words import count, listed
from harness.study.measures import MEASURES, Measure, measure_named
from harness.study.results import ArmName
from harness.study.table import Comparison, Estimate, Standing, Table

SIGNIFICANT = 3
MOST_NAMED = 12


@frozen
class Sentence:
    """What one measure says of arms that differ in one thing alone.

    Attributes:
        measure: name of the measure.
        about: the measure, and what is the same in the arms.
        text: what it says.
        differs: whether any two of the arms are told apart.
    """

    measure: str
    about: str
    text: str
    differs: bool


def value_text(measure: Measure, *values: float) -> str:
    """A value; with two more, and the interval from the one to the other. `-` for what is not there.

    Args:
        measure: of what.
        values: a value, or a value and the two ends of its interval.
    """
    scale = 100.0 if measure.is_fraction else 1.0
    known = [abs(scale * each) for each in values if isfinite(each)]
    if not isfinite(values[0]):
        return "-"
    decimals = _decimals(max(known))
    told = [f"{scale * each + 0.0:,.{decimals}f}" for each in values if isfinite(each)]
    told = [text.removeprefix("-") if not text.strip("-0.,") else text for text in told]
    return f"{told[0]} ({told[1]} to {told[2]})" if len(told) == 3 else told[0]


def _decimals(size: float) -> int:
    if size < 1e-9:
        return 0
    return min(max(SIGNIFICANT - 1 - floor(log10(size)), 0), 9)


def unit_text(measure: Measure) -> str:
    """The unit as people read it."""
    return {"share": "%", "SoC": "% of the capacity"}.get(measure.unit, measure.unit)


def estimate_text(each: Estimate) -> str:
    """A value and its interval."""
    return value_text(measure_named(each.measure), each.value, each.low, each.high)


def comparison_text(comparison: Comparison) -> str:
    """A difference and its interval."""
    each = comparison.difference
    measure = measure_named(comparison.measure)
    return value_text(measure, each.value, each.low, each.high)


def p_text(p: float) -> str:
    """A p value."""
    if not isfinite(p):
        return "-"
    return f"{p:.2g}" if p < 0.1 else f"{p:.2f}"


def size_text(table: Table) -> str:
    """How much was simulated."""
    facts = table.facts
    years = table.there * facts.days / 365.0
    told = f"{count(table.there, 'bank')} for {facts.days:g} days each ({years:,.4g} bank-years)"
    return f"{told} in {count(len(facts.arms), 'arm')}, seed {facts.seed}"


def left_out(table: Table) -> list[str]:
    """What has no part in the numbers, in sentences; empty where everything has."""
    told = []
    facts = table.facts
    for stop in table.stops[:MOST_NAMED]:
        arms = listed([facts.labels[k] for k in stop.arms], 4)
        where = "every arm" if len(stop.arms) == len(facts.arms) else arms
        told.append(f"Bank {stop.bank} stopped before its end in {where}: left out there")
    if (rest := len(table.stops) - MOST_NAMED) > 0:
        told.append(f"{count(rest, 'more bank')} stopped before their end")
    for bank, why in facts.failed[:MOST_NAMED]:
        told.append(f"Bank {bank} could not be run: {why}")
    if (rest := len(facts.failed) - MOST_NAMED) > 0:
        told.append(f"{count(rest, 'more bank')} could not be run")
    missing = facts.banks - table.there - len(facts.failed)
    if missing > 0:
        told.append(
            f"{count(missing, 'bank')} of {facts.banks:,} did not run: the study is not complete"
        )
    return told


def how_told_apart(table: Table) -> str:
    """When two arms count as told apart."""
    percent = f"{100.0 * table.level:g} %"
    if table.there == 1:
        return "With one bank there is no interval, and no test can tell arms apart."
    return (
        f"In brackets stand {percent} intervals (BCa bootstrap over banks, {table.resamples:,} resamples)."
        f" Two arms are told apart where p is at most {1.0 - table.level:.2g} after Holm's correction over"
        f" all comparisons of a measure (paired sign-flip test, {table.flips:,} flips, or all of them"
        " where few banks differ)."
    )


def sentences(table: Table, measures: Sequence[Measure] = MEASURES) -> tuple[Sentence, ...]:
    """What differs and what cannot be told apart: the best of some arms against each of the others.

    Args:
        table: of a study.
        measures: of which it is to be told.
    """
    return tuple(found for measure in measures for found in _of_measure(table, measure))


def _of_measure(table: Table, measure: Measure) -> Iterator[Sentence]:
    groups: dict[tuple[str, object], dict[int, None]] = {}
    compared = table.compared_in(measure.name)
    for comparison in compared:
        pair = comparison.difference.pair
        same = _same(table.facts.arms[pair.first], pair.varied)
        group = groups.setdefault((pair.varied, tuple(same.items())), {})
        group |= {pair.first: None, pair.second: None}
    by_pair = {frozenset((c.difference.pair.first, c.difference.pair.second)): c for c in compared}
    for (varied, _), arms in groups.items():
        yield _sentence(table, measure, varied, list(arms), by_pair)


def _same(arm: ArmName, varied: str) -> dict[str, str]:
    """What arms that differ in this have in common with one of them."""
    return {name: words for name, words in arm.parts.items() if name != varied}


def _about(table: Table, measure: Measure, varied: str, arm: int) -> str:
    arms = table.facts.arms
    same = [
        f"{name} {words}" if name in ("rule", "policy") else words
        for name, words in _same(arms[arm], varied).items()
        if len({each.parts[name] for each in arms}) > 1
    ]
    return f"{measure.title}, {', '.join(same)}" if same else measure.title


def _sentence(
    table: Table,
    measure: Measure,
    varied: str,
    arms: list[int],
    by_pair: dict[frozenset[int], Comparison],
) -> Sentence:
    about = _about(table, measure, varied, arms[0])
    names = {k: table.facts.arms[k].parts[varied] for k in arms}
    of = {each.arm: each for each in table.of(measure.name)}
    known = [k for k in arms if isfinite(of[k].value)]
    unknown = [names[k] for k in arms if k not in known]
    if not known:
        return Sentence(measure.name, about, "not defined in any arm.", differs=False)
    sign = 1.0 if measure.lower_is_better else -1.0
    best = min(known, key=lambda k: (sign * of[k].value, k))
    worse: list[tuple[int, Comparison]] = []
    close: list[str] = []
    same: list[str] = []
    for k in known:
        if k == best:
            continue
        comparison = by_pair[frozenset((best, k))]
        if comparison.standing is Standing.SAME:
            same.append(names[k])
        elif comparison.standing in (Standing.FIRST_BETTER, Standing.SECOND_BETTER):
            worse.append((k, comparison))
        else:
            close.append(names[k])
    value = f"{estimate_text(of[best])} {unit_text(measure)}"
    if len(known) > 1 and len(same) == len(known) - 1:
        parts = [f"the same in every bank whatever the {varied}: {value}"]
    else:
        extreme = "lowest" if measure.lower_is_better else "highest"
        parts = [f"{extreme} with {names[best]}, {value}"]
        if worse:
            worse.sort(key=lambda each: abs(each[1].difference.value))
            told = [f"{names[k]} by {_by_how_much(measure, each)}" for k, each in worse]
            unit = ", in points of 100" if measure.is_fraction else ""
            parts.append(f"worse{unit}: {', '.join(told)}")
        if close:
            parts.append(f"not told apart from {', '.join(close)}")
        if same:
            parts.append(f"the same in every bank with {', '.join(same)}")
    if unknown:
        parts.append(f"not defined with {', '.join(unknown)}")
    return Sentence(measure.name, about, "; ".join(parts) + ".", differs=bool(worse))


def _by_how_much(measure: Measure, comparison: Comparison) -> str:
    """How much worse the worse one is, whichever of the two was subtracted."""
    each = comparison.difference
    if not isfinite(each.low):
        return value_text(measure, abs(each.value))
    sign = 1.0 if each.value >= 0.0 else -1.0
    return value_text(measure, abs(each.value), *sorted((sign * each.low, sign * each.high)))
