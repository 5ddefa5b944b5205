"""An equalisation in a log: who asked for it is not in there, how it went is."""

from __future__ import annotations

import numpy as np
import pytest
from attrs import evolve

from ctrl.settings import Settings
from harness.attach import attach, drive
from harness.logs.judged import judge_log
from harness.run import Answers, Case, Outcome, Trace
from harness.verdict import Report
from tests.logs.recorded import log_of, rows_of

FLOODED = Settings(
    hold_s=200.0,
    equalisation_v=57.0,
    equalisation_s=300.0,
    compensation_v_per_c=-0.05,
    sensor_lost_s=600.0,
    empty_v=None,
)
SIZE = 1200


@pytest.fixture(scope="module")
def answered() -> tuple[Case, Answers]:
    """A charge, and an equalisation in float that somebody asked for."""
    v, warm = np.full(SIZE, 56.5), np.full(SIZE, 22.0)
    v[:200] = 54.0
    trace = Trace(np.arange(float(SIZE)), v, np.full(SIZE, 4.0), temp_c=warm)
    case = Case("flooded", FLOODED, trace, equalise_requests=(600,))
    with attach("ref") as reference:
        said = drive(reference, case).answers
    assert np.count_nonzero(said.stage == 4) == 300
    return case, said


def outcomes(report: Report, group: str) -> dict[str, Outcome]:
    return {
        r.requirement: r.outcome for r in report.results if r.requirement.startswith(f"{group}.")
    }


def test_a_whole_log_shows_how_it_went_and_not_who_asked(answered: tuple[Case, Answers]) -> None:
    report = judge_log(log_of(*answered), FLOODED)
    assert report.findings == ()
    said = outcomes(report, "EQUALISE")
    hidden = {f"EQUALISE.{name}" for name in ("due", "starts", "remembered")}
    assert {n for n, outcome in said.items() if outcome is Outcome.NOT_OBSERVABLE} == hidden
    for name in ("from-float", "time", "whole", "after", "asks", "no-reset"):
        assert said[f"EQUALISE.{name}"] is Outcome.PASS


def test_one_that_is_too_long_is_found_in_a_log(answered: tuple[Case, Answers]) -> None:
    case, said = answered
    stage, volts = said.stage.copy(), said.voltage_request_v
    assert volts is not None
    longer = np.flatnonzero(stage == 4)[-1] + 1 + np.arange(60)
    stage[longer] = 4
    volts = np.where(stage == 4, volts[700], volts)
    report = judge_log(log_of(case, evolve(said, stage=stage, voltage_request_v=volts)), FLOODED)
    assert [f.requirement for f in report.findings] == ["EQUALISE.time"]


def test_a_log_that_lacks_samples_shows_only_what_every_row_does(
    answered: tuple[Case, Answers],
) -> None:
    report = judge_log(rows_of(log_of(*answered), np.arange(0, SIZE, 10), complete=False), FLOODED)
    assert report.findings == ()
    said = outcomes(report, "EQUALISE")
    assert said["EQUALISE.asks"] is Outcome.PASS
    assert said["EQUALISE.whole"] is Outcome.NOT_OBSERVABLE
    assert outcomes(report, "COMPENSATE")["COMPENSATE.jump"] is Outcome.NOT_OBSERVABLE
