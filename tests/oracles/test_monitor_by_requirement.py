"""Requirement by requirement, the judge and an independent monitor of temporal logic agree.

2,000 traces of the kind that the hunt tries, one second apart, on every controller of the zoo whose
fault lies between bulk and the return from float, on conforming variants, and on the reference, with
the settings it is judged by and with others.
For every run and every requirement that past-time logic can express, the judge finds it broken where
the monitor does, and at the same sample first.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pytest
from attrs import evolve, frozen

from ctrl.settings import Settings
from harness.attach import Attachment, attach, drive
from harness.judge import judge
from harness.rules import REQUIREMENTS
from harness.run import FEATURES, Case, Run, Trace, needed_features
from harness.strategies.choices import (
    CHOICES,
    HEAD_CHOICES,
    MOST_SEGMENTS,
    SEGMENT_CHOICES,
    Head,
    Segment,
)
from harness.strategies.grow import grown
from harness.strategies.segment import DIP, FIRST_ODDITY, HOVER, RAMP
from harness.zoo.fault import Fault
from harness.zoo.faults import entry, float_stage, full, hold
from harness.zoo.subject import attached
from harness.zoo.variants import VARIANTS
from tests.oracles.formulas import formulas
from tests.oracles.monitor import broken_at, confirmed, on_a_hair

TRACES = 2000
SEED = 20260704
# Every formula says no to at least so many of the runs, and yes to at least so many.
LEAST_BROKEN, LEAST_KEPT = 5, 100

# No count of whole milliampere-seconds comes to stand on it, give or take what rounding adds up to.
LOW_SOC = 0.899713
_PLAIN: dict[str, Any] = {
    "capacity_ah": 10.0,
    "entry_dwell_s": 3.0,
    "hold_s": 10.0,
    "full_v": 55.6,
    "wait_limit_s": 8.0,
    "return_dwell_s": 5.0,
    "return_soc": None,
    "empty_dwell_s": 3.0,
}
# Timers are short, so that a segment that lasts as long as one keeps its interval of a second.
SETTINGS = tuple(
    Settings.from_mapping(_PLAIN | changes)
    for changes in (
        {},
        {"confirm_s": 5.0},
        {"confirm_s": 4.0, "on_unconfirmed": "wait"},
        {"confirm_s": 3.0, "on_unconfirmed": "bulk", "entry_dwell_s": 4.0},
        {"on_unconfirmed": "wait", "taper_a": 5.0},
        {"on_unconfirmed": "bulk", "sag_v": 55.7, "return_dwell_s": 2.0},
        {"on_sag": "restart", "hold_s": 7.0},
        {"on_sag": "restart", "sag_v": 55.5, "full_v": 55.3, "confirm_s": 4.0, "hold_s": 8.0},
        {"on_sag": "pause", "entry_dwell_s": 1.0},
        {"float_s": 12.0, "entry_dwell_s": 5.0},
        {"return_soc": LOW_SOC, "capacity_ah": 1.0},
        {"float_s": 16.0, "return_soc": LOW_SOC, "capacity_ah": 1.0, "confirm_s": 2.0},
        {"entry_dwell_s": 0.0, "return_dwell_s": 0.0, "hold_s": 5.0},
        {"on_unconfirmed": "wait", "confirm_s": 6.0, "taper_a": 20.0, "wait_limit_s": 15.0},
        {"taper_a": 5.0, "hold_s": 2.0, "confirm_s": 1.0},
        {"on_unconfirmed": "wait", "on_sag": "restart", "sag_v": 55.7, "wait_limit_s": 5.0},
    )
)
# Their fault shows in the count alone, or in timers longer than these.
_ELSEWHERE = frozenset(
    {
        "reset-to-almost-one",
        "reset-to-the-ceiling",
        "reset-without-count",
        "count-synced-at-hold-end",
        "hold-timer-wraps",
        "float-timer-wraps",
    }
)
FAULTS = tuple(
    fault
    for module in (entry, hold, full, float_stage)
    for fault in module.FAULTS
    if fault.name not in _ELSEWHERE
)
# The reference with settings other than those it is judged by: faults that show in short traces. What
# is a number is added to a setting that is not none, the rest takes its place.
OTHERWISE: tuple[tuple[str, float | str | None], ...] = (
    ("hold_s", 2.0),
    ("hold_s", 4.0),
    ("float_s", 2.0),
    ("float_s", -3.0),
    ("return_dwell_s", 3.0),
    ("wait_limit_s", -3.0),
    ("taper_a", None),
    ("return_soc", -0.004),
    ("return_soc", 0.004),
    ("on_unconfirmed", "float"),
    ("on_unconfirmed", "bulk"),
    ("on_unconfirmed", "wait"),
)
# They use up the tolerance, which is where the two could disagree.
# Those of equalisation and of the sensor do as the example does here.
LATE_VARIANTS = tuple(
    fault
    for fault in VARIANTS
    if fault.name.endswith("one-sample-late")
    and not fault.name.startswith(("equalisation-", "sensor-"))
)
# Deeds of segments that keep the distance of samples, and readings that can be believed.
DEEDS = np.array([*range(36), *range(36), *range(55), 61, 62, 63])
ODDITIES = (0, 0, 0, *(FIRST_ODDITY + odd for odd in (DIP, RAMP, HOVER)))


@frozen(eq=False)
class Group:
    """Runs of the same settings, what the judge found in each, and what the monitor found.

    Attributes:
        runs: what was answered.
        judged: the requirements that the judge found broken in each, with the first sample.
        monitored: the same of the monitor, by the names of its formulas; -1 where it found nothing.
    """

    runs: list[Run]
    judged: list[dict[str, int]]
    monitored: dict[str, list[int]]

    def judged_by(self, names: str) -> list[int]:
        """Where the judge first finds one of these requirements broken in each run, or -1."""
        wanted = names.split(" or ")
        return [
            min((found[name] for name in wanted if name in found), default=-1)
            for found in self.judged
        ]


def cases(settings: Settings, number: int, count: int) -> list[Case]:
    """Traces that aim at the deadlines of these settings, one second apart, readings on a grid."""
    rng = np.random.default_rng((SEED, number))
    heads = rng.integers(0, CHOICES, (count, HEAD_CHOICES))
    heads[:, Head.STAMP] = 0
    shape = (count, MOST_SEGMENTS)
    segments = rng.integers(0, CHOICES, (*shape, SEGMENT_CHOICES))
    segments[..., Segment.INTERVAL] = 0
    segments[..., Segment.DEED] = rng.choice(DEEDS, shape)
    segments[..., Segment.ODDITY] = rng.choice(ODDITIES, shape)
    used = np.full(count, MOST_SEGMENTS)
    names = [f"monitor/{number}-{k}" for k in range(count)]
    made = (case for case, _ in grown(names, settings, heads, segments, used, power_cycles=False))
    return [
        # A ramp may come to lie within rounding of a threshold; thresholds are whole millivolts.
        evolve(case, trace=evolve(case.trace, v=case.trace.v.round(3), i=case.trace.i.round(3)))
        for case in made
    ]


def concerns(fault: Fault, settings: Settings) -> bool:
    """Whether a fault breaks what these settings ask for at all."""
    features = next(
        (each.features for each in REQUIREMENTS if each.id == fault.requirement), frozenset()
    )
    off = set(FEATURES) - needed_features(settings) - {"full_reset", "return_voltage", "soc"}
    if settings.return_soc is not None:
        off.discard("return_soc")
    waits = settings.on_unconfirmed == "wait"
    return features.isdisjoint(off) and not (waits and fault.requirement == "FULL.denied")


def otherwise(settings: Settings) -> list[Settings]:
    """Other settings, each different in one place."""
    result = []
    for name, change in OTHERWISE:
        value = getattr(settings, name)
        if value is None:
            continue
        other: Any = value + change if isinstance(change, float) else change
        if other != value:
            different: dict[str, Any] = {name: other}
            result.append(evolve(settings, **different))
    return result


def run_of(attachment: Attachment, case: Case, settings: Settings) -> Run:
    """What a controller that was started with other settings answers to a case."""
    run = drive(attachment, evolve(case, settings=settings))
    return Run(case, evolve(run.identity, name="other settings"), run.answers)


@pytest.fixture(scope="module")
def groups() -> list[Group]:
    right = [attach("ref"), *map(attached, LATE_VARIANTS)]
    wrong = {fault: attached(fault) for fault in FAULTS}
    count = TRACES // len(SETTINGS)
    result = []
    for number, settings in enumerate(SETTINGS):
        tried: list[Callable[[Case], Run]] = [
            *(partial(drive, each) for each in right),
            *(partial(drive, each) for fault, each in wrong.items() if concerns(fault, settings)),
            *(partial(run_of, right[0], settings=other) for other in otherwise(settings)),
        ]
        runs = [
            tried[(k + number) % len(tried)](case)
            for k, case in enumerate(cases(settings, number, count))
        ]
        judged: list[dict[str, int]] = []
        for run in runs:
            first: dict[str, int] = {}
            for finding in judge(run).findings:
                first.setdefault(finding.requirement, finding.index)
            judged.append(first)
        result.append(Group(runs, judged, broken_at(runs)))
    for each in (*right, *wrong.values()):
        each.close()
    return result


ALL = sorted({name for settings in SETTINGS for name in formulas(settings)[1]})


@pytest.mark.parametrize("names", ALL)
def test_judge_and_monitor_agree_on_every_run(names: str, groups: list[Group]) -> None:
    broken, kept = 0, 0
    for group in groups:
        if names not in group.monitored:
            continue
        by_monitor, by_judge = group.monitored[names], group.judged_by(names)
        differing = {
            run.case.id: (run.identity.name, judge_says, monitor_says)
            for run, judge_says, monitor_says in zip(group.runs, by_judge, by_monitor, strict=True)
            if judge_says != monitor_says
        }
        assert differing == {}
        broken += sum(at >= 0 for at in by_monitor)
        kept += sum(at < 0 for at in by_monitor)
    assert broken >= LEAST_BROKEN
    assert kept >= LEAST_KEPT


def test_runs_are_many_and_many_of_them_break_something(groups: list[Group]) -> None:
    assert sum(len(group.runs) for group in groups) == TRACES
    violating = sum(
        any(at[k] >= 0 for at in group.monitored.values())
        for group in groups
        for k in range(len(group.runs))
    )
    assert TRACES / 5 <= violating <= TRACES * 4 / 5
    spaced = (np.diff(run.case.trace.t) for group in groups for run in group.runs)
    assert all((apart_s == 1.0).all() for apart_s in spaced)
    assert not any(on_a_hair(run) for group in groups for run in group.runs)


def test_what_does_not_break_the_rules_breaks_no_formula(groups: list[Group]) -> None:
    """The reference, and what is late by a sample: not one formula is broken by either."""
    right = {"reference", *(f"example-python with {each.name}" for each in LATE_VARIANTS)}
    seen: Counter[str] = Counter()
    for group in groups:
        for k, run in enumerate(group.runs):
            if run.identity.name in right:
                seen[run.identity.name] += 1
                assert {name for name, at in group.monitored.items() if at[k] >= 0} == set()
    assert set(seen) == right
    assert min(seen.values()) >= 20


def test_runs_behind_one_another_are_as_each_alone(groups: list[Group]) -> None:
    for group in groups[::5]:
        for k in range(1, len(group.runs), 31):
            alone = {name: at[0] for name, at in broken_at([group.runs[k]]).items()}
            assert alone == {name: at[k] for name, at in group.monitored.items()}


def test_every_finding_of_one_group_is_confirmed_alone(groups: list[Group]) -> None:
    group = groups[2]
    said = {name for names in group.monitored for name in names.split(" or ")}
    tried = 0
    for run, judged in zip(group.runs, group.judged, strict=True):
        for name in said & set(judged):
            assert confirmed(run.case, run, name) is True, (run.case.id, name)
            tried += 1
        for name in () if said & set(judged) else ("ENTRY.not-late", "FULL.voltage"):
            assert confirmed(run.case, run, name) is False, (run.case.id, name)
    assert tried >= 20


def hasty(t: list[float], **changes: Any) -> tuple[Case, Run]:
    """A hold that starts at the first touch of the entry voltage, which stands from the beginning."""
    size = len(t)
    settings = Settings.from_mapping({"entry_dwell_s": 3.0, "hold_s": 10.0})
    trace = Trace(np.array(t), np.full(size, 56.0), np.zeros(size))
    case = Case("hasty", settings, trace, **changes)
    with attach("ref") as reference:
        return case, run_of(reference, case, evolve(settings, entry_dwell_s=0.0))


def test_confirmed_counts_in_intervals() -> None:
    for interval_s in (0.5, 1.0, 1.5):
        case, run = hasty([k * interval_s for k in range(6)])
        assert confirmed(case, run, "ENTRY.held-long-enough") is True
        assert confirmed(case, run, "ENTRY.not-late") is False


@pytest.mark.parametrize(
    ("t", "changes"),
    [
        ([0.0, 1.0, 2.5, 3.0, 4.0], {}),
        ([0.0, 2.0, 4.0, 6.0], {}),
        ([0.0, 1.0, 2.0, 1.0, 2.0], {}),
        ([0.0, 1.0, float("nan"), 3.0, 4.0], {}),
        ([0.0, 0.0, 0.0, 0.0], {}),
        ([0.0], {}),
        ([0.0, 1.0, 2.0, 3.0, 4.0], {"power_cycles": (2,)}),
    ],
    ids=["uneven", "no whole number", "back", "no stamp", "no time", "one sample", "power lost"],
)
def test_confirmed_says_nothing_of_what_it_cannot_follow(
    t: list[float], changes: dict[str, Any]
) -> None:
    case, run = hasty(t, **changes)
    assert confirmed(case, run, "ENTRY.held-long-enough") is None


def test_confirmed_says_nothing_of_invalid_samples_and_other_requirements() -> None:
    case, run = hasty([0.0, 1.0, 2.0, 3.0])
    assert confirmed(case, run, "SOC.no-jump") is None
    v = case.trace.v.copy()
    v[2] = np.nan
    gap = evolve(case, trace=evolve(case.trace, v=v))
    assert confirmed(gap, evolve(run, case=gap), "ENTRY.held-long-enough") is None


def test_confirmed_says_nothing_within_a_hair_of_a_threshold() -> None:
    case, run = hasty([0.0, 1.0, 2.0, 3.0])
    for level_v, answer in ((55.8 - 5e-8, None), (55.8, True), (55.8 - 1e-3, True)):
        at = evolve(case, trace=evolve(case.trace, v=np.full(4, level_v)))
        assert confirmed(at, evolve(run, case=at), "ENTRY.held-long-enough") is answer
