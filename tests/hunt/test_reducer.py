"""Shortening a failing case: it still fails in the same way, and a person can read it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from attrs import evolve

from harness.hunt.failure import Failure, Key
from harness.hunt.hunt import hunt
from harness.hunt.reduce import Reduced, Shown, reduced
from harness.hunt.shortest import breaks, can_be_shortened, shortest
from harness.hunt.trial import judged, tried
from harness.run import Case, Finding
from tests.hunt.faulty import case, vector, zoo


def finding(index: int) -> Finding:
    return Finding("HOLD.full-length", "told", 0.0, index, "", "", 0.0, "", "It is so.")


class Fails:
    """A question that needs no controller to be answered; counts how often it is asked."""

    def __init__(self, when: Callable[[Case], bool]) -> None:
        self.when = when
        self.asked = 0

    def __call__(self, asked: Case) -> Shown | None:
        self.asked += 1
        return Shown(finding(len(asked.trace) - 1), None) if self.when(asked) else None


def always(_: Case) -> bool:
    return True


LONG = case(*((1000.5 + 2 * k, 54.0 + 0.013 * (k % 7), 3.21) for k in range(200)), hold_s=61.5)


def test_everything_goes_that_the_failure_does_not_need() -> None:
    shows = Fails(always)
    result = reduced(LONG, shows)
    assert result.ended == "smallest"
    assert result.case.trace.t.tolist() == [0]
    assert result.case.trace.v.tolist() == [54]
    assert result.case.trace.i.tolist() == [0]
    assert result.case.settings.hold_s == 3600


def test_what_the_failure_needs_stays() -> None:
    def three_high_ones(asked: Case) -> bool:
        return int(np.count_nonzero(asked.trace.v > 54.07)) >= 3 and asked.settings.hold_s < 100

    result = reduced(LONG, Fails(three_high_ones))
    assert len(result.case.trace) == 3
    assert three_high_ones(result.case)


def test_settings_stay_where_they_must() -> None:
    result = reduced(LONG, Fails(always), settings_stay=True)
    assert result.case.settings == LONG.settings
    assert len(result.case.trace) == 1


def test_the_budget_of_runs_is_kept() -> None:
    shows = Fails(lambda asked: len(asked.trace) > 150)
    result = reduced(LONG, shows, runs=20)
    assert shows.asked == result.runs == 20
    assert result.ended == "runs"
    assert not result.flaky


def test_the_time_and_an_interruption_end_it() -> None:
    shows = Fails(always)
    assert reduced(LONG, shows, seconds=0.0).ended == "seconds"
    stopped = reduced(LONG, shows, interrupted=lambda: True)
    assert stopped.ended == "interrupted"
    assert len(stopped.case.trace) == 200


def test_no_case_is_tried_twice() -> None:
    seen: list[bytes] = []

    def shows(asked: Case) -> Shown | None:
        trace = asked.trace
        seen.append(b"".join([trace.t.tobytes(), trace.v.tobytes(), trace.i.tobytes(),
                              repr((asked.settings, asked.soc)).encode()]))  # fmt: skip
        return Shown(finding(len(trace) - 1), None) if len(trace) >= 7 else None

    reduced(LONG, shows)
    # The last run is the confirmation of what ran before.
    assert len(set(seen[:-1])) == len(seen) - 1


def test_what_does_not_fail_again_is_told_as_such() -> None:
    answers = iter([True] * 3 + [False] * 5000)
    result = reduced(LONG, Fails(lambda _: next(answers)))
    assert result.flaky
    never = reduced(LONG, Fails(lambda _: False))
    assert never.flaky
    assert never.runs == 1


def of_vector(fault: str, requirement: str, name: str, **options: Any) -> tuple[Case, Reduced]:
    """The failing vector, as a case of a hunt would be, and what became of it."""
    given = vector(name).case
    with zoo(fault) as attachment:
        found = judged(tried(attachment, evolve(given, expected=None)), 0.0).found
        key = next(key for key in found if key.requirement == requirement)
        failure = Failure(key, found[key], 0, given)
        result = shortest(attachment, failure, **options)
        assert result.shown is not None
        assert breaks(attachment, key, afresh=True)(result.case) is not None
    with zoo(fault) as attachment:
        again = judged(tried(attachment, result.case), 0.0).found
    assert key in again
    return given, result


def test_a_hold_that_ends_early_shows_in_a_few_samples() -> None:
    given, result = of_vector("hold-one-minute-short", "HOLD.sag-runs-on", "hold/sag-runs-on")
    assert len(given.trace) > 10
    assert len(result.case.trace) <= 4
    assert result.case.trace.t[0] == 0
    assert result.shown is not None
    assert "too early" in result.shown.finding.sentence


def test_a_gap_that_is_needed_stays() -> None:
    _, result = of_vector(
        "dwell-runs-through-gaps", "TIME.gap-restarts-dwell", "time/gap-restarts-the-entry-dwell"
    )
    t = result.case.trace.t
    assert np.max(np.diff(t)) > result.case.settings.max_gap_s
    assert len(t) <= 6


def test_fixed_settings_are_not_touched() -> None:
    given, result = of_vector(
        "hold-one-minute-short", "HOLD.sag-runs-on", "hold/sag-runs-on", settings_stay=True
    )
    assert result.case.settings == given.settings
    assert len(result.case.trace) < len(given.trace)


def test_it_is_the_same_every_time() -> None:
    def once() -> Reduced:
        return of_vector("hold-one-minute-short", "HOLD.sag-runs-on", "hold/sag-runs-on")[1]

    one, other = once(), once()
    assert one.case.trace.rows() == other.case.trace.rows()
    assert one.case.settings == other.case.settings
    assert one.runs == other.runs


@pytest.mark.parametrize(
    ("fault", "requirement"),
    [
        ("entry-at-first-touch", "ENTRY.held-long-enough"),
        ("sag-restart-ignored", "HOLD.sag-restarts"),
        ("reset-one-sample-late", "FULL.at-hold-end"),
        ("float-timer-counts-absorption", "FLOAT.timer-full-length"),
        ("count-discharge-as-charge", "SOC.counts"),
        ("release-dwell-survives-relapse", "PROTECT.release-held"),
    ],
)
def test_finds_of_the_sweep_become_short(fault: str, requirement: str) -> None:
    with zoo(fault) as attachment:
        found = hunt(attachment, seed=0, traces=120)
        failure = next(each for each in found.failures if each.key.requirement == requirement)
        result = shortest(attachment, failure)
        assert result.shown is not None
        assert result.shown.finding.requirement == requirement
    assert len(result.case.trace) <= 12
    assert result.runs <= 1500


def test_what_no_trace_alone_shows_is_not_shortened() -> None:
    failure = Failure(Key("LINK.fresh-start", ""), finding(0), 3, LONG, before=3)
    assert not can_be_shortened(failure)
    with (
        zoo("sag-restart-ignored") as attachment,
        pytest.raises(ValueError, match="no trace alone"),
    ):
        shortest(attachment, failure)
