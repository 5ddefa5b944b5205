"""A log that begins anywhere is judged from where its stages are known, and not before."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.logs.judged import judge_log
from harness.logs.log import Log, PackLog
from harness.logs.parts import Part, parts_of
from harness.logs.sampling import sampling_of
from harness.run import Outcome, Trace
from harness.verdict import Report

SETTINGS = Settings()
B, A, F, X = Stage.BULK, Stage.ABSORPTION, Stage.FLOAT, Stage.INHIBITED


def _pack(stages: list[tuple[Stage, int]], volts: dict[Stage, float] | None = None) -> PackLog:
    stage = np.concatenate([np.full(rows, word, np.int8) for word, rows in stages])
    table = {B: 53.0, A: 56.0, F: 54.0, X: 54.0} | (volts or {})
    v = np.array([table[Stage(s)] for s in stage])
    # The sample on which a stage is entered still shows what led to it.
    v[1:][(stage[1:] == F) & (stage[:-1] == A)] = 56.0
    return PackLog(
        "pack", Path("pack.csv"), Trace(np.arange(len(v), dtype=float), v, np.zeros(len(v))), stage
    )


def _parts(pack: PackLog, *, complete: bool = True, from_power_up: bool = False) -> list[Part]:
    sampling = sampling_of(pack.trace.t, None)
    return parts_of(pack, SETTINGS, sampling, complete=complete, from_power_up=from_power_up)


def _ranges(pack: PackLog, **how: bool) -> list[tuple[int, int, bool]]:
    return [(part.start, part.stop, part.known) for part in _parts(pack, **how)]


def _judged(pack: PackLog, *, complete: bool = True, settings: Settings = SETTINGS) -> Report:
    return judge_log(Log(Path("pack.csv"), (pack,), complete=complete), settings)


def _outcome(report: Report, name: str) -> Outcome:
    return next(r.outcome for r in report.results if r.requirement == name)


def test_a_log_that_begins_in_a_long_bulk_is_known_from_its_first_row() -> None:
    assert _ranges(_pack([(B, 200), (A, 50)])) == [(0, 250, True)]


@pytest.mark.parametrize("first", [A, F, X])
def test_any_other_log_is_known_from_its_first_change(first: Stage) -> None:
    following = B if first is not A else F
    assert _ranges(_pack([(first, 100), (following, 200)])) == [(0, 101, False), (100, 300, True)]


def test_a_trip_soon_after_the_log_begins_is_not_judged() -> None:
    # What tripped it may have begun before.
    ranges = _ranges(_pack([(B, 10), (X, 50), (B, 200)]))
    assert ranges == [(0, 61, False), (60, 260, True)]


def test_a_log_that_never_changes_its_stage_is_not_known() -> None:
    assert _ranges(_pack([(F, 100)])) == [(0, 100, False)]


def test_a_log_from_power_up_is_known_from_its_first_row() -> None:
    assert _ranges(_pack([(B, 10), (A, 20)]), from_power_up=True) == [(0, 30, True)]


def test_a_gap_of_a_log_that_lacks_samples_begins_a_new_part() -> None:
    pack = _pack([(B, 200), (A, 100), (F, 100)])
    pack.trace.t[250:] += 1000.0
    assert _ranges(pack, complete=False) == [(0, 250, True), (250, 301, False), (300, 400, True)]
    assert _ranges(pack, complete=True) == [(0, 400, True)]


def test_a_hold_that_began_before_the_log_is_not_called_short() -> None:
    report = _judged(_pack([(A, 100), (F, 400), (B, 100)]))
    assert _outcome(report, "HOLD.full-length") is Outcome.NOT_EXERCISED
    assert "pack, lines 2 to 102" in report.not_applicable


def test_a_hold_that_the_log_shows_whole_is_judged() -> None:
    report = _judged(_pack([(B, 200), (A, 100), (F, 400)]))
    (finding,) = next(r.findings for r in report.results if r.requirement == "HOLD.full-length")
    assert finding.index == 300
    assert finding.detail == "line 302 of pack.csv"


def test_a_hold_that_a_gap_of_the_controller_broke_is_judged_where_every_sample_is_there() -> None:
    pack = _pack([(B, 200), (A, 100), (B, 400)], {B: 53.0})
    pack.trace.v[:200] = np.where(np.arange(200) >= 196, 56.0, 53.0)
    pack.trace.t[300:] += 100.0
    assert _outcome(_judged(pack), "TIME.gap-abandons-hold") is Outcome.PASS
    sparse = _judged(pack, complete=False)
    assert _outcome(sparse, "TIME.gap-abandons-hold") is Outcome.NOT_OBSERVABLE
    assert sparse.findings == ()


def test_a_log_without_one_believable_row_could_not_be_judged() -> None:
    pack = _pack([(B, 100)], {B: 530.0})
    report = _judged(pack, complete=False)
    assert report.exit_code == 3
    assert "no row of it can be believed" in report.not_applicable["pack"]
