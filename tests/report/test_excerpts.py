"""Which samples are kept around a finding: what decides stays, and never more than a bound."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from attrs import evolve

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.attach import attach, drive
from harness.report import keeping
from harness.report.excerpt import MOST_SAMPLES, NEAR, excerpts_of
from harness.report.keeping import Keeping
from harness.report.result import Result
from harness.run import Case, Finding, Run, Trace


def finding(index: int, case: str = "pier/long", requirement: str = "HOLD.ends") -> Finding:
    return Finding(requirement, case, 0.0, index, "a", "b", 1.0, "s", "It came late.")


def long_run(samples: int = 20_000) -> Run:
    """Charged and emptied over and over, sampled once a second, and one dip of a single sample."""
    t = np.arange(samples, dtype=np.float64)
    v = np.where(t % 2_000 < 1_000, 56.0, 52.0)
    v[1_500:1_501] = 40.0
    case = Case("pier/long", Settings(hold_s=300.0), Trace(t, v, np.full(samples, 5.0)))
    with attach("ref") as reference:
        return drive(reference, case)


def test_a_short_case_is_kept_whole(broken: Result) -> None:
    (excerpt,) = [e for e in broken.excerpts if e.case == "hold/ends-on-a-sample"]
    assert excerpt.samples == len(excerpt.indices)
    assert excerpt.indices.tolist() == list(range(excerpt.samples))


def test_a_case_without_findings_is_not_kept(broken: Result) -> None:
    assert {each.case for each in broken.excerpts} == {f.case for f in broken.report.findings}
    assert "entry/after-dwell" in broken.tried


def test_controller_and_reference_part_where_the_finding_is(broken: Result) -> None:
    # The hold of this controller is a minute short: there it is in float, and should not be.
    found = next(f for f in broken.report.findings if f.case == "hold/ends-on-a-sample")
    excerpt = broken.excerpt(found)
    assert excerpt is not None
    assert excerpt.stages is not None
    assert excerpt.reference_stages is not None
    at = excerpt.position(found)
    assert Stage(excerpt.stages[at]) is Stage.FLOAT
    assert Stage(excerpt.reference_stages[at]) is Stage.ABSORPTION
    assert np.array_equal(excerpt.stages[:at], excerpt.reference_stages[:at])
    (hold,) = [clock for clock in excerpt.clocks if clock.setting == "hold_s"]
    assert hold.asked_s - hold.shows_s[at] == pytest.approx(found.margin)


def test_a_long_case_is_thinned_and_keeps_neighbours_changes_and_dips() -> None:
    run = long_run()
    (excerpt,) = excerpts_of(run.case, run, [finding(1_800)])
    assert len(excerpt.indices) <= MOST_SAMPLES
    kept = set(excerpt.indices.tolist())
    assert set(range(1_800 - NEAR, 1_800 + NEAR + 1)) <= kept
    assert 1_500 in kept
    stage = run.answers.stage
    first, last = min(kept), max(kept)
    changes = [k for k in range(first + 1, last + 1) if stage[k] != stage[k - 1]]
    assert changes
    assert all(k in kept and k - 1 in kept for k in changes)
    for name, column in excerpt.columns.items():
        assert len(column) == len(excerpt.indices), name
    assert all(len(clock.shows_s) == len(excerpt.indices) for clock in excerpt.clocks)


def test_what_is_looked_at_begins_where_a_stage_begins_so_that_no_clock_shows_too_little() -> None:
    run = long_run()
    (excerpt,) = excerpts_of(run.case, run, [finding(9_000)])
    first = int(excerpt.indices[0])
    assert 0 < first < 9_000
    assert run.answers.stage[first] != run.answers.stage[first - 1]


def test_requests_for_an_equalisation_are_kept_where_their_samples_are() -> None:
    run = long_run()
    requests = (3, 8_999, 9_001, 19_999)
    asked = evolve(run, case=evolve(run.case, equalise_requests=requests))
    (excerpt,) = excerpts_of(asked.case, asked, [finding(9_000)])
    first, last = int(excerpt.indices[0]), int(excerpt.indices[-1])
    assert first > 3
    assert last < 19_999
    assert excerpt.equalise_requests == (8_999, 9_001)


def test_findings_far_apart_get_one_excerpt_each_and_near_ones_share_it() -> None:
    run = long_run()
    found = list(excerpts_of(run.case, run, [finding(1_800), finding(1_801), finding(15_000)]))
    assert [e.position(finding(1_801)) >= 0 for e in found] == [True, False]
    assert found[1].position(finding(15_000)) >= 0


def test_a_finding_without_a_sample_has_none() -> None:
    run = long_run(50)
    assert list(excerpts_of(run.case, run, [finding(-1)])) == []
    (kept,) = excerpts_of(run.case, run, [finding(3)])
    assert kept.position(finding(-1)) == -1
    assert kept.position(finding(3, case="pier/other")) == -1


def test_where_nothing_was_answered_the_readings_and_the_reference_are_kept() -> None:
    run = long_run(50)
    (kept,) = excerpts_of(run.case, None, [finding(3)])
    assert kept.stages is None
    assert kept.clocks == ()
    assert kept.reference_stages is not None
    assert sorted(kept.columns) == ["i", "t", "v"]


def test_indices_rise_whatever_is_kept() -> None:
    run = long_run()
    for index in (0, 700, 19_999):
        (excerpt,) = excerpts_of(run.case, run, [finding(index)])
        assert all(a < b for a, b in pairwise(excerpt.indices.tolist()))
        assert excerpt.position(finding(index)) >= 0


def test_there_is_a_bound_and_every_requirement_gets_its_share(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for name, bound in (("SURE_EACH", 2), ("MOST_FREE", 5), ("MOST", 7)):
        monkeypatch.setattr(keeping, name, bound)
    keep = Keeping(compared=False)
    t = np.arange(10.0)
    for requirement in ("HOLD.ends", "SOC.counts", "SOC.starts"):
        for number in range(6):
            name = f"{requirement}/{number}"
            case = Case(name, Settings(), Trace(t, t, t))
            keep(case, None, [finding(4, name, requirement)])
    of = [each.case.partition("/")[0] for each in keep.excerpts]
    assert of == ["HOLD.ends"] * 5 + ["SOC.counts"] * 2


def test_the_bound_holds_within_one_case_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeping, "MOST", 3)
    run = long_run()
    keep = Keeping()
    keep(run.case, run, [finding(k) for k in range(1_500, 20_000, 1_500)])
    assert len(keep.excerpts) == 3
    monkeypatch.setattr(keeping, "MOST_NUMBERS", keep.excerpts[0].numbers)
    few = Keeping()
    few(run.case, run, [finding(k) for k in range(1_500, 20_000, 1_500)])
    assert len(few.excerpts) == 1
