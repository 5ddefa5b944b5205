"""Timers and dwells at each sample, on the stages that a controller reported, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.report.clocks import clocks
from harness.run import FEATURES, Answers, Case, Identity, Run, Trace

WHO = Identity("hut", "1", "none", frozenset(FEATURES))
# b, a, f, i: the stage that is reported at each sample.
STAGES = {"b": Stage.BULK, "a": Stage.ABSORPTION, "f": Stage.FLOAT, "i": Stage.INHIBITED}


def run(
    stages: str,
    v: list[float],
    *,
    cycles: tuple[int, ...] = (),
    cell: list[float] | None = None,
    **settings: object,
) -> Run:
    """Samples every 10 s, and the stages reported."""
    t = np.arange(0.0, 10.0 * len(stages), 10.0)
    cells = None if cell is None else np.array(cell)
    trace = Trace(t, np.array(v), np.zeros(len(stages)), cells)
    made = Settings(**{"entry_dwell_s": 20.0, "hold_s": 30.0, **settings})  # type: ignore[arg-type]
    answers = Answers(np.array([STAGES[each] for each in stages], np.int8))
    return Run(Case("hut/a", made, trace, power_cycles=cycles), WHO, answers)


def shown(of: Run) -> dict[str, list[float | None]]:
    """What each clock shows, by its setting; None where it does not run."""
    return {
        clock.setting: [None if np.isnan(x) else x for x in clock.shows_s.tolist()]
        for clock in clocks(of)
    }


def test_the_hold_timer_counts_from_the_reported_entry_to_the_sample_it_is_left_on() -> None:
    told = shown(run("bbbaaaff", [55, 56, 56, 56, 56, 56, 56, 56]))
    assert told["hold_s"] == [None, None, None, 0, 10, 20, 30, None]
    # The entry dwell runs in bulk, and at the sample that ends it.
    assert told["entry_dwell_s"] == [None, 0, 10, 20, None, None, None, None]


@pytest.mark.parametrize(
    ("on_sag", "expected"),
    [("run", [0, 10, 20, 30]), ("pause", [0, 10, 10, 20]), ("restart", [0, 0, 0, 10])],
)
def test_a_sag_does_to_it_what_the_setting_says(on_sag: str, expected: list[float]) -> None:
    told = shown(run("aaaa", [56, 55, 56, 56], on_sag=on_sag))
    assert told["hold_s"] == expected


def test_confirmation_and_wait_begin_when_the_hold_has_expired() -> None:
    of = run(
        "aaaaaaa", [56, 56, 56, 56, 55, 56, 56], confirm_s=20.0, on_unconfirmed="wait", sag_v=50.0
    )
    told = shown(of)
    assert told["confirm_s"] == [None, None, None, 0, None, 0, 10]
    assert told["wait_limit_s"] == [None, None, None, 0, 10, 20, 30]


def test_float_has_its_timer_and_its_dwell() -> None:
    told = shown(run("ffff", [54, 52, 52, 54], float_s=100.0))
    assert told["float_s"] == [0, 10, 20, 30]
    assert told["return_dwell_s"] == [None, 0, 10, None]
    assert "float_s" not in shown(run("ffff", [54, 52, 52, 54]))


def test_protection_has_a_trip_and_a_release() -> None:
    told = shown(run("bbiib", [54] * 5, cell=[3.4, 3.7, 3.7, 3.4, 3.4]))
    assert told["trip_dwell_s"] == [None, 0, 10, None, None]
    assert told["release_dwell_s"] == [None, None, None, 0, 10]


def test_nothing_counts_across_a_loss_of_power() -> None:
    told = shown(run("bbbb", [56, 56, 56, 56], cycles=(2,)))
    assert told["entry_dwell_s"] == [0, 10, 0, 10]


def test_an_invalid_sample_shows_nothing_and_breaks_nothing() -> None:
    told = shown(run("bbbb", [56, np.nan, 56, 56]))
    assert told["entry_dwell_s"] == [0, None, 20, 30]


def test_a_share_is_a_part_of_what_is_asked_and_whole_where_nothing_is() -> None:
    of = run("bb", [56, 56], entry_dwell_s=0.0)
    (entry,) = [clock for clock in clocks(of) if clock.setting == "entry_dwell_s"]
    assert entry.share.tolist() == [1.0, 1.0]
    (entry,) = [c for c in clocks(run("bb", [56, 56])) if c.setting == "entry_dwell_s"]
    assert entry.share.tolist() == [0.0, 0.5]
