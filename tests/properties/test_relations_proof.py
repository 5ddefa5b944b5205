"""Full resets that a trace proves, and each way in which it may not."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.hunt.evidence import evidence_of
from harness.hunt.proof import unproved
from harness.run import Answers, Case, Finding, Identity, Run, Trace

TESTER = Identity("tester", "1", "Python", frozenset({"full_reset"}))
# Entry after 3 s, hold of 10 s, confirmed for 2 s: the earliest full reset is at 15 s.
GIVEN: dict[str, Any] = {"entry_dwell_s": 3.0, "hold_s": 10.0, "confirm_s": 2.0, "float_s": None}
HIGH, LOW = 56.0, 54.0


def found(
    v: list[float],
    *resets: int,
    t: list[float] | None = None,
    i: list[float] | None = None,
    cell_max_v: list[float] | None = None,
    power_cycles: tuple[int, ...] = (),
    **changes: Any,
) -> Finding | None:
    count = len(v)
    trace = Trace(
        np.arange(float(count)) if t is None else np.array(t),
        np.array(v),
        np.zeros(count) if i is None else np.array(i),
        cell_max_v=None if cell_max_v is None else np.array(cell_max_v),
    )
    settings = Settings(**{**GIVEN, **changes})
    flags = np.zeros(count, bool)
    flags[list(resets)] = True
    # All in one absorption: what evidence there is must come of the trace.
    stage = np.where(flags, Stage.FLOAT, Stage.ABSORPTION).astype(np.int8)
    case = Case("made", settings, trace, power_cycles=power_cycles)
    return unproved(Run(case, TESTER, Answers(stage, full_reset=flags)))


def test_a_reset_after_entry_hold_and_confirmation_is_proved() -> None:
    assert found([HIGH] * 20, 15) is None


@pytest.mark.parametrize("late", [16, 17, 19])
def test_a_reset_that_is_late_is_proved_all_the_same(late: int) -> None:
    assert found([HIGH] * 20, late) is None


def test_each_timer_may_be_off_by_an_interval_and_by_no_more() -> None:
    assert found([HIGH] * 20, 12) is None
    finding = found([HIGH] * 20, 11)
    assert finding is not None
    assert (finding.requirement, finding.index, finding.unit) == ("FULL.confirmed", 11, "s")
    finding = found([HIGH] * 20, 10)
    assert finding is not None
    assert finding.requirement == "HOLD.full-length"


def test_no_reset_at_all_needs_no_proof() -> None:
    assert found([LOW] * 20) is None


@pytest.mark.parametrize(
    ("finding", "requirement", "words"),
    [
        (found([LOW] * 5 + [55.7] * 15, 19), "ENTRY.held-long-enough", "entry_v (55.8 V)"),
        (found([HIGH] * 19 + [55.5], 19), "FULL.voltage", "55.500 V, under full_v"),
        (found([HIGH] * 20, 19, i=[9.0] * 20, taper_a=8.0), "FULL.taper", "beyond taper_a"),
        (found([HIGH] * 20, 19, i=[-9.0] * 20, taper_a=8.0), "FULL.taper", "-9 A"),
        (found([HIGH] * 17 + [55.5] + [HIGH] * 2, 18), "FULL.denied", "ended unconfirmed"),
        (
            found([HIGH] * 17 + [55.5] + [HIGH] * 2, 18, on_unconfirmed="bulk"),
            "FULL.denied",
            "ended unconfirmed",
        ),
        (
            found([HIGH] * 17 + [55.5] + [HIGH] * 2, 18, on_unconfirmed="wait", confirm_s=5.0),
            "FULL.confirmed",
            "confirmed for 0 s of 5 s",
        ),
        (
            found([HIGH] * 9 + [55.7] * 20 + [HIGH] * 9, 37, on_unconfirmed="wait", wait_limit_s=5.0,
                  full_v=55.75),
            "FULL.wait",
            "ended unconfirmed",
        ),
        (found([HIGH] * 30, 15, 17), "FULL.at-hold-end", "the full reset in row 15"),
        (found([HIGH] * 40, 19, power_cycles=(12,)), "POWER.forgets", "the loss of power"),
        (
            found([HIGH] * 20, 19, t=[*range(12), *range(100, 108)]),
            "TIME.gap-abandons-hold",
            "the gap of 89 s",
        ),
        (
            found([HIGH] * 20, 19, t=[*range(12), *range(8, 16)]),
            "TIME.backward-step",
            "the step of 3 s back",
        ),
        (found([HIGH] * 19 + [float("nan")], 19), "TIME.invalid-skipped", "cannot be believed"),
        (
            found([HIGH] * 20, 19, cell_max_v=[3.4] * 8 + [3.7] * 4 + [3.4] * 8),
            "PROTECT.blocks-full",
            "the trip by the cell",
        ),
        (
            found([HIGH] * 20, 19, cell_max_v=[3.4] * 12 + [3.7] * 4 + [3.6] * 4),
            "PROTECT.blocks-full",
            "was blocking the charge",
        ),
        (
            found([HIGH] * 8 + [55.0] * 8 + [HIGH] * 4, 19, on_sag="pause", confirm_s=0.0, hold_s=12.0),
            "HOLD.sag-pauses",
            "shows 9 s at most, of 12 s",
        ),
        (
            found([HIGH] * 8 + [55.0] + [HIGH] * 9, 17, on_sag="restart", confirm_s=0.0),
            "HOLD.sag-restarts",
            "of 10 s",
        ),
    ],
)  # fmt: skip
def test_a_reset_that_is_not_proved_is_found_with_what_it_lacks(
    finding: Finding | None, requirement: str, words: str
) -> None:
    assert finding is not None
    assert finding.requirement == requirement
    assert words in finding.sentence


def test_a_reset_after_an_invalid_sample_more_than_a_gap_away_is_not_proved() -> None:
    t = [*map(float, range(12)), 11.5, 44.0, 13.0, *map(float, range(14, 20))]
    v = [HIGH] * 12 + [HIGH, float("nan")] + [HIGH] * 7
    finding = found(v, 20, t=t)
    assert finding is not None
    assert finding.requirement == "PROTECT.no-reading"


@pytest.mark.parametrize(
    ("before", "at", "requirement"),
    [
        (Stage.ABSORPTION, Stage.FLOAT, "HOLD.full-length"),
        (Stage.BULK, Stage.BULK, "FULL.at-hold-end"),
        (Stage.FLOAT, Stage.FLOAT, "FULL.at-hold-end"),
        (Stage.ABSORPTION, Stage.INHIBITED, "PROTECT.blocks-full"),
    ],
)
def test_where_a_reset_happens_weighs_more_than_what_it_lacks(
    before: Stage, at: Stage, requirement: str
) -> None:
    flags = np.arange(10) == 9
    stage = np.where(flags, at, before).astype(np.int8)
    trace = Trace(np.arange(10.0), np.full(10, HIGH), np.zeros(10))
    case = Case("made", Settings(**GIVEN), trace)
    finding = unproved(Run(case, TESTER, Answers(stage, full_reset=flags)))
    assert finding is not None
    assert finding.requirement == requirement


def test_a_gap_before_the_hold_is_not_to_blame_for_a_short_one() -> None:
    t = [*map(float, range(5)), *map(float, range(100, 112))]
    stage = np.array([Stage.BULK] * 8 + [Stage.ABSORPTION] * 8 + [Stage.FLOAT], np.int8)
    trace = Trace(np.array(t), np.full(17, HIGH), np.zeros(17))
    case = Case("made", Settings(**GIVEN), trace)
    finding = unproved(Run(case, TESTER, Answers(stage, full_reset=np.arange(17) == 16)))
    assert finding is not None
    assert finding.requirement == "FULL.confirmed"


def test_a_second_reset_from_a_hold_of_its_own_is_proved() -> None:
    assert found([HIGH] * 40, 15, 31) is None


def test_what_is_not_certain_is_not_held_against_the_controller() -> None:
    # One sample beyond the limit may trip a dwell of 1 s or not.
    once = [3.4] * 8 + [3.7] + [3.4] * 11
    assert found([HIGH] * 20, 19, cell_max_v=once) is None
    # After a gap in float nobody knows when a hold began, so none is known to have been denied.
    t = [*map(float, range(3)), *map(float, range(100, 122))]
    v = [HIGH] * 20 + [55.5] + [HIGH] * 4
    assert found(v, 22, t=t, confirm_s=0.0) is None


def test_a_temperature_moves_the_voltages_to_within_a_microvolt() -> None:
    count = 20
    settings = Settings(**{**GIVEN, "compensation_v_per_c": -0.03})
    level_v = np.full(count, 55.8)
    for beside_v, proved in ((0.0, True), (-5e-7, True), (-5e-3, False)):
        trace = Trace(
            np.arange(float(count)),
            level_v + 0.15 + beside_v,
            np.zeros(count),
            temp_c=np.full(count, 20.0),
        )
        flags = np.zeros(count, bool)
        flags[17] = True
        run = Run(
            Case("warm", settings, trace),
            TESTER,
            Answers(np.zeros(count, np.int8), full_reset=flags),
        )
        assert (unproved(run) is None) is proved


def test_evidence_begins_anew_where_the_rules_say_so() -> None:
    trace = Trace(
        np.array([0.0, 1.0, 100.0, 101.0, 99.0, 100.0]),
        np.array([HIGH, HIGH, HIGH, float("nan"), HIGH, HIGH]),
        np.zeros(6),
    )
    evidence = evidence_of(Case("made", Settings(), trace, power_cycles=(5,)))
    assert [sample.row for sample in evidence.samples] == [0, 1, 2, 4, 5]
    assert [(begin.k, begin.requirement, begin.in_bulk) for begin in evidence.begins] == [
        (0, "ENTRY.held-long-enough", True),
        (2, "TIME.gap-abandons-hold", False),
        (3, "TIME.backward-step", False),
        (4, "POWER.forgets", True),
    ]
