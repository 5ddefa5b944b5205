"""The hunt of a charger: what is drawn, found, and made short."""

from __future__ import annotations

from functools import cache
from itertools import islice

import numpy as np
import pytest

from ctrl.charger import ChargerSettings
from harness.charger.attach import InProcessCharger, attach_charger, drive_charger
from harness.charger.case import CHARGER_ANSWER_COLUMNS, ChargerRun
from harness.charger.faults import FAULTS
from harness.charger.hunting.drawn_settings import drawn_settings
from harness.charger.hunting.picks import Picks
from harness.charger.hunting.sweep import ChargerSwept, charger_sweep, drawn_trace
from harness.charger.judge import judge_charger
from harness.charger.rules import CHARGER_REQUIREMENTS
from harness.charger.variants import VARIANTS
from harness.hunt.charger import CHARGER, hunt_charger
from harness.hunt.failure import Failure, Hunted
from harness.hunt.hunt import hunt
from harness.hunt.reduce import Reduced
from harness.hunt.shortest import shortest
from harness.run import Identity

DRAWN = 40
OWN_RULES = {r.id for r in CHARGER_REQUIREMENTS if r.group != "LINK"}


@cache
def drawn() -> tuple[ChargerSwept, ...]:
    return tuple(islice(charger_sweep(7), DRAWN))


def hunted(name: str, traces: int = 60, seed: int = 0) -> Hunted:
    fault = FAULTS[name]
    return hunt_charger(fault.made, seed=seed, traces=traces, name=name, enough=bool)


def shortened(name: str, failure: Failure) -> Reduced:
    return shortest(InProcessCharger(name, FAULTS[name].made, name), failure)


def test_a_trace_depends_on_its_number_and_the_seed_alone() -> None:
    later = next(charger_sweep(7, start=5))
    same = drawn()[5]
    assert later.number == same.number == 5
    assert later.case.id == "hunt/7-5"
    assert later.case.settings == same.case.settings
    for name in later.case.trace.columns:
        one, other = later.case.trace.column(name), same.case.trace.column(name)
        assert np.array_equal(one, other, equal_nan=True)
    other_seed = next(charger_sweep(8, start=5))
    assert other_seed.case.settings != same.case.settings or len(other_seed.case.trace) != len(
        same.case.trace
    )


def test_numbers_that_are_refused() -> None:
    with pytest.raises(ValueError, match="both must be 0 or more"):
        next(charger_sweep(-1))


def test_what_is_said_is_what_the_reference_answers() -> None:
    for swept in drawn()[:6]:
        answers = drive_charger(attach_charger("ref"), swept.case).answers
        for name in CHARGER_ANSWER_COLUMNS:
            assert np.array_equal(getattr(answers, name), getattr(swept.said, name))


def test_the_traces_put_every_requirement_to_the_test_and_the_reference_keeps_them() -> None:
    identity = Identity("reference", "0", "Python", frozenset())
    exercised: set[str] = set()
    for swept in islice(charger_sweep(0), 30):
        verdict = judge_charger(ChargerRun(swept.case, identity, swept.said))
        assert verdict.findings == (), swept.case.id
        exercised |= {name for name, times in verdict.exercised.items() if times}
    assert exercised == OWN_RULES


def test_there_is_something_of_everything_in_the_traces() -> None:
    traces = [swept.case.trace for swept in drawn()]
    assert any(np.isnan(trace.t).any() for trace in traces)
    assert any((np.diff(trace.t) < 0.0).any() for trace in traces)
    assert any(np.isnan(trace.own_v).any() for trace in traces)
    assert {trace.packs for trace in traces} == {1, 2, 3}
    assert any(swept.case.power_cycles for swept in drawn())
    assert {round(swept.case.settings.plausible_v[1]) for swept in drawn()} == {70, 35}


def test_no_numbers_at_all_give_the_plainest_trace() -> None:
    case, said = drawn_trace("plain", Picks(numbers=[]))
    assert case.settings.to_mapping() == drawn_settings(Picks(numbers=[])).to_mapping()
    assert case.trace.packs == 1
    assert len(said) == len(case.trace)
    assert np.all(np.diff(case.trace.t) == 1.0)


@pytest.mark.parametrize(
    ("name", "requirement", "most_rows"),
    [
        ("steps-up", "FOLLOW.slope", 4),
        ("never-recovers", "RECOVER.follows", 6),
        ("ignores-age", "STALE.falls-back", 4),
        ("counts-packs-twice", "CEILING.current", 5),
    ],
)
def test_a_fault_is_found_and_made_short(name: str, requirement: str, most_rows: int) -> None:
    fault = FAULTS[name]
    found = hunt_charger(
        fault.made,
        seed=0,
        traces=80,
        enough=lambda known: any(each.key.requirement == requirement for each in known),
    )
    failure = next(each for each in found.failures if each.key.requirement == requirement)
    assert found.role == "charger"
    short = shortened(name, failure)
    assert short.shown is not None
    assert short.shown.finding.requirement == requirement
    assert len(short.case.trace) <= most_rows < len(failure.case.trace)
    assert short.case.settings.packs == 1
    # It is the fault that is shown: the reference answers the same trace without it.
    said = drive_charger(attach_charger("ref"), short.case)
    assert requirement not in {each.requirement for each in judge_charger(said).findings}
    for p in range(short.case.trace.packs):
        assert np.all(short.case.trace.stage[:, p] == -1)


def test_the_same_hunt_ends_with_the_same_trace() -> None:
    one, other = hunted("steps-up"), hunted("steps-up")
    assert [each.key for each in one.failures] == [each.key for each in other.failures]
    first, second = (shortened("steps-up", each.failures[0]).case for each in (one, other))
    assert first.trace.rows() == second.trace.rows()
    assert first.settings == second.settings


def test_a_failure_of_two_packs_keeps_them() -> None:
    found = hunted("adds-without-the-zero")
    (failure,) = [each for each in found.failures if each.key.requirement == "PACKS.zero"]
    short = shortened("adds-without-the-zero", failure)
    assert short.case.trace.packs == 2
    assert len(short.case.trace) <= 4


def test_settings_stay_where_they_must() -> None:
    settings = ChargerSettings(packs=2, steady_s=4.0, stale_s=2.0)
    attachment = InProcessCharger("x", FAULTS["steps-up"].made, "x")
    found = hunt(attachment, seed=0, traces=6, settings=settings)
    failure = next(each for each in found.failures if each.key.requirement == "FOLLOW.slope")
    assert failure.case.settings == settings
    assert shortest(attachment, failure, settings_stay=True).case.settings == settings


@pytest.mark.parametrize("name", VARIANTS)
def test_what_keeps_the_rules_in_another_way_shows_nothing(name: str) -> None:
    found = hunt_charger(VARIANTS[name], seed=1, traces=6, name=name)
    assert found.failures == ()
    assert found.errors == {}
    assert found.traces == found.judged == 6
    assert found.exercised["STALE.falls-back"] > 0


def test_only_what_is_asked_for_is_looked_for() -> None:
    found = hunt_charger(FAULTS["steps-up"].made, seed=0, traces=5, selected=["STALE.stops"])
    assert found.failures == ()
    with pytest.raises(ValueError, match=r"no such requirement: HOLD.ends"):
        hunt_charger(FAULTS["steps-up"].made, seed=0, traces=5, selected=["HOLD.ends"])


def test_a_closed_loop_makes_traces_of_its_own() -> None:
    attachment = InProcessCharger("x", FAULTS["holds-highest"].made, "x")
    loops = list(CHARGER.worlds(attachment, 3, 4, frozenset()))
    assert [swept.number for swept in loops] == [-1, -2, -3, -4]
    assert [swept.case.id for swept in loops] == [f"hunt/3-world-{k}" for k in range(4)]
    # What it read followed from what it gave, so it is not what the reference would have read.
    reference = list(CHARGER.worlds(attach_charger("ref"), 3, 4, frozenset()))
    assert any(
        not np.array_equal(one.case.trace.own_v, other.case.trace.own_v, equal_nan=True)
        for one, other in zip(loops, reference, strict=True)
    )
    for swept in loops:
        answers = drive_charger(attach_charger("ref"), swept.case).answers
        assert CHARGER.agrees(answers, swept.said, frozenset())
