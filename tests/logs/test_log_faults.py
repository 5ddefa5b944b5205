"""A log shows what is wrong with a controller, under the requirement that it breaks."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from attrs import evolve

from ctrl.settings import Settings
from harness.attach import drive
from harness.logs.judged import judge_log
from harness.logs.log import Log
from harness.run import Case, Floats, Outcome, Trace
from harness.zoo.build import fault_named
from harness.zoo.subject import attached
from tests.logs.recorded import log_of, rounded, rows_of

SETTINGS = Settings(
    hold_s=1800,
    float_s=11_000,
    return_v=53.45,
    return_soc=None,
    trip_dwell_s=2,
    charge_min_c=None,
    charge_max_c=None,
)
ROWS = 40_000


@cache
def _days() -> Case:
    """A pack once a second: charged, held with a sag, resting, drained, a hot cell, charged again."""
    knots = [
        (0, 53.0, 60.0), (1000, 55.0, 60.0), (3000, 56.0, 40.0), (4200, 56.0, 8.0),
        (4201, 55.2, -20.0), (4260, 55.2, -20.0), (4261, 56.0, 8.0), (5200, 56.0, 2.0),
        (5400, 54.2, 0.0), (9000, 54.0, 0.0), (15000, 53.4, -10.0), (20000, 52.5, -40.0),
        (21000, 52.4, -40.0), (24000, 53.2, 60.0), (27000, 56.0, 40.0), (31000, 56.0, 2.0),
        (31500, 54.1, 0.0), (40000, 54.0, 0.0),
    ]  # fmt: skip
    t = np.arange(0.0, ROWS)
    at, v, i = (np.array(column, float) for column in zip(*knots, strict=True))
    cell_max_v: Floats = np.round(np.interp(t, at, v) / 16.0, 4)
    cell_max_v[22_000:22_900] = 3.70
    trace = Trace(t, np.round(np.interp(t, at, v), 3), np.interp(t, at, i), cell_max_v=cell_max_v)
    return Case("days", SETTINGS, trace, soc=0.6)


@cache
def _log(fault: str) -> Log:
    with attached(fault_named(fault) if fault else None) as controller:
        return log_of(_days(), drive(controller, _days()).answers)


def _from_the_middle(log: Log) -> Log:
    return rows_of(log, np.arange(1500, ROWS))


def _every(log: Log, seconds: int) -> Log:
    thinned = rows_of(log, np.arange(700, ROWS, seconds), complete=False)
    return evolve(thinned, exact=False)


def _broken(log: Log) -> set[str]:
    return {finding.requirement for finding in judge_log(log, SETTINGS).findings}


LOGS: dict[str, Callable[[str], Log]] = {
    "every sample": _log,
    "from the middle": lambda fault: _from_the_middle(_log(fault)),
    "rounded": lambda fault: rounded(_from_the_middle(_log(fault))),
    "every 10 s": lambda fault: _every(_log(fault), 10),
    "every minute, rounded": lambda fault: rounded(_every(_log(fault), 60)),
}


@pytest.mark.parametrize("kind", LOGS)
def test_the_log_of_a_controller_that_keeps_the_rules_conforms(kind: str) -> None:
    report = judge_log(LOGS[kind](""), SETTINGS)
    assert report.findings == ()
    assert report.exit_code == 0


@pytest.mark.parametrize(
    ("fault", "requirements"),
    [
        ("entry-at-first-touch", "ENTRY.held-long-enough"),
        ("entry-dwell-doubled", "ENTRY.not-late"),
        # The first hold has a sag in it, and the last has none.
        ("hold-three-seconds-short", "HOLD.full-length HOLD.sag-runs-on"),
        ("hold-half-a-minute-long", "HOLD.ends HOLD.sag-runs-on"),
        ("sag-always-pauses", "HOLD.sag-runs-on"),
        ("reset-to-almost-one", "FULL.sets-one"),
        ("reset-unreported", "FULL.granted SOC.no-jump"),
        ("float-left-for-absorption", "RETURN.to-bulk ENTRY.from-bulk-only"),
        ("float-timer-ten-seconds-short", "FLOAT.timer-full-length"),
        ("low-voltage-ignored", "RETURN.low-voltage"),
        ("count-one-percent-fast", "SOC.counts"),
        ("request-absorption-in-float", "REQUEST.voltage"),
        ("cell-limit-ignored", "PROTECT.cell-trips"),
        ("never-released", "PROTECT.releases"),
    ],
)
def test_a_fault_shows_where_every_sample_is_a_row(fault: str, requirements: str) -> None:
    assert _broken(_log(fault)) == set(requirements.split())
    assert _broken(_from_the_middle(_log(fault))) == set(requirements.split())


@pytest.mark.parametrize(
    ("fault", "requirement", "seconds"),
    [
        ("hold-one-minute-short", "HOLD.full-length", 10),
        ("float-timer-counts-absorption", "FLOAT.timer-full-length", 10),
        ("float-timer-wraps", "FLOAT.timer-ends", 60),
        ("request-absorption-in-float", "REQUEST.voltage", 60),
        ("ceiling-clamped-away", "SOC.bounds", 60),
        ("cell-limit-ignored", "PROTECT.cell-trips", 60),
        ("never-released", "PROTECT.releases", 10),
        ("low-voltage-ignored", "RETURN.low-voltage", 10),
    ],
)
def test_a_fault_that_lasts_shows_in_a_log_that_lacks_samples(
    fault: str, requirement: str, seconds: int
) -> None:
    assert _broken(_every(_log(fault), seconds)) == {requirement}
    assert _broken(rounded(_every(_log(fault), seconds))) == {requirement}


def test_what_a_log_cannot_show_says_why_with_both_numbers() -> None:
    report = judge_log(_every(_log(""), 60), SETTINGS)
    reasons = {r.requirement: r.reason for r in report.results if r.reason}
    assert all((r.outcome is Outcome.NOT_OBSERVABLE) == bool(r.reason) for r in report.results)
    assert reasons["ENTRY.held-long-enough"].startswith(
        "the log has a row every 60 s, entry_dwell_s is 3 s"
    )
    assert reasons["PROTECT.temperature-trips"] == "the log has no column temp_c"
    assert reasons["LINK.cuts"].startswith("no controller runs")
    assert "HOLD.full-length" not in reasons


def test_a_count_in_whole_percent_is_not_followed() -> None:
    report = judge_log(rounded(_log("count-one-percent-fast")), SETTINGS)
    (counts,) = (r for r in report.results if r.requirement == "SOC.counts")
    assert counts.outcome is Outcome.NOT_OBSERVABLE
    assert counts.reason.startswith("soc is written in steps of 0.001")
