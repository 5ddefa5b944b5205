"""Each requirement of EQUALISE on a run that keeps it and on one that breaks it, written by hand.

A charge by the book ends in float at row 9. An equalisation lasts 6 s at 57 V, is abandoned by heat
above 40 degrees after 1 s and without current after 3 s, and is tried again 20 s after that. A timer
may be off by one interval, which is 1 s.
"""

from __future__ import annotations

from math import nan
from typing import Any

import pytest
from attrs import evolve

from harness.judge import judge
from harness.run import FEATURES
from tests.unit.rules.written_runs import verdict, written

UP, HIGH, REST = 55.0, 55.9, 54.0
EQUALISES: dict[str, Any] = {
    "equalisation_v": 57.0,
    "equalisation_s": 6.0,
    "equalisation_max_c": 40.0,
    "equalisation_loss_s": 3.0,
    "equalisation_retry_s": 20.0,
    "empty_v": None,
    "charge_min_c": None,
    "charge_max_c": None,
}
LEAD = "bbb" + "aaaaaa"
FIRST = len(LEAD)


def told(
    behind: str,
    *,
    warm: tuple[int, ...] = (),
    unknown: tuple[int, ...] = (),
    idle: tuple[int, ...] = (),
    **changes: Any,
) -> Any:
    """The verdict on stages behind a charge; rows are counted from the start of the run."""
    stages = LEAD + behind
    size = len(stages)
    temp_c = [20.0] * size
    for row in warm:
        temp_c[row] = 41.0
    for row in unknown:
        temp_c[row] = nan
    given: dict[str, Any] = {
        "resets": [FIRST],
        "readings": {"temp_c": temp_c},
        "i": [0.0 if row in idle else 5.0 for row in range(size)],
        "soc": [0.5] * FIRST + [1.0] * (size - FIRST),
        "capacity_ah": 1e9,
        "requests": (2,),
    }
    v = [UP, *[HIGH] * FIRST, *[REST] * (size - FIRST - 1)]
    return verdict(stages, v, **{**EQUALISES, **given, **changes})


def broken(behind: str, **changes: Any) -> list[tuple[str, int, float, str]]:
    """Requirement, row, margin and unit of every finding."""
    found = told(behind, **changes).findings
    return [(f.requirement, f.index, round(f.margin, 6), f.unit) for f in found]


# Float at row 9, equalisation from row 10 on: due by a request, which has been there since row 2.
BOOK = "f" + "eeeeee" + "fff"


def test_an_equalisation_by_the_book_has_no_finding_and_exercises_its_requirements() -> None:
    said = told(BOOK)
    assert said.findings == ()
    for name in ("from-float", "due", "starts", "time", "whole", "after", "no-reset", "asks"):
        assert said.exercised[f"EQUALISE.{name}"] >= 1, name
    assert said.exercised["EQUALISE.remembered"] == 1
    assert "EQUALISE.heat" not in said.exercised


def test_without_a_voltage_there_is_none_whatever_is_asked() -> None:
    never: dict[str, Any] = {"equalisation_v": None}
    assert broken(BOOK, **never) == [("EQUALISE.allowed", 10, 0.0, "")]
    assert broken(BOOK, asked_v={12: 57.0}, **never) == [
        ("EQUALISE.allowed", 10, 0.0, ""),
        ("REQUEST.never-above", 12, 1000.0, "mV"),
        ("REQUEST.voltage", 12, 1000.0, "mV"),
    ]
    assert broken("f" * 10, **never) == []
    assert told("f" * 10, **never).exercised["EQUALISE.allowed"] == 1


def test_who_claims_no_equalisation_may_not_report_one_either() -> None:
    run = written(LEAD + BOOK, [UP, *[HIGH] * 9, *[REST] * 9], resets=[FIRST])
    shy = evolve(run, identity=evolve(run.identity, features=frozenset({"full_reset"})))
    assert [f.requirement for f in judge(shy).findings] == ["EQUALISE.allowed"]


def test_starts_from_float_only() -> None:
    stages, v = "bbeeee", [UP] * 6
    found = verdict(stages, v, i=[5.0] * 6, capacity_ah=1e9, requests=(0,), **FREE).findings
    assert [(f.requirement, f.index) for f in found] == [("EQUALISE.from-float", 2)]


FREE: dict[str, Any] = {**EQUALISES, "equalisation_max_c": None}


@pytest.mark.parametrize(
    ("behind", "changes", "findings"),
    [
        # Nobody asked, and there is no schedule.
        (BOOK, {"requests": ()}, [("EQUALISE.due", 10, 0.0, "")]),
        # By a schedule of 14 s one is due at row 14; row 13 is within one interval.
        ("f" * 5 + "eeeeee" + "f", {"requests": (), "equalisation_every_s": 14.0}, []),
        ("f" * 4 + "eeeeee" + "f", {"requests": (), "equalisation_every_s": 14.0}, []),
        (
            "f" * 3 + "eeeeee" + "f",
            {"requests": (), "equalisation_every_s": 14.0},
            [("EQUALISE.due", 12, 2.0, "s")],
        ),
        ("f" * 6 + "eeeeee" + "f", {"requests": (), "equalisation_every_s": 14.0}, []),
        (
            "f" * 9,
            {"requests": (), "equalisation_every_s": 14.0},
            [("EQUALISE.starts", 15, 1.0, "s")],
        ),
        # A request is followed at its sample, or at the first that allows it.
        ("f" * 9, {"requests": (13,)}, [("EQUALISE.starts", 13, 0.0, "")]),
        ("f" * 9, {"requests": (2,)}, [("EQUALISE.remembered", 10, 0.0, "")]),
        ("fff" + "eeeeee" + "f", {"requests": (11,), "idle": (11,)}, []),
        ("f" * 9, {"requests": (11,), "idle": tuple(range(11, 18))}, []),
        ("f" * 9, {"requests": (11,), "warm": tuple(range(11, 18))}, []),
        # The request is done with the first; the second one is due to nobody.
        (BOOK + "eeeeee" + "f", {}, [("EQUALISE.due", 19, 0.0, "")]),
    ],
)
def test_due_and_started(
    behind: str, changes: dict[str, Any], findings: list[tuple[str, int, float, str]]
) -> None:
    assert broken(behind, **changes) == findings


@pytest.mark.parametrize(
    ("changes", "findings"),
    [
        ({"warm": (10,)}, [("EQUALISE.cool", 10, 1.0, "degrees C")]),
        ({"unknown": (10,)}, [("EQUALISE.cool", 10, 0.0, "")]),
        ({"unknown": (10,), "equalisation_max_c": None}, []),
        ({"idle": (10,)}, [("EQUALISE.current", 10, 0.0, "A")]),
        ({"warm": (10,), "equalisation_max_c": 41.0}, []),
    ],
)
def test_only_in_the_cool_and_with_current(
    changes: dict[str, Any], findings: list[tuple[str, int, float, str]]
) -> None:
    assert broken(BOOK, **changes) == findings


@pytest.mark.parametrize(
    ("behind", "changes", "findings"),
    [
        # Warm from row 12 on: due at row 13, row 14 is one interval late, and still forgiven.
        ("f" + "eee" + "fff", {"warm": (12, 13, 14, 15)}, []),
        ("f" + "eeee" + "fff", {"warm": (12, 13, 14, 15)}, []),
        (
            "f" + "eeeee" + "fff",
            {"warm": (12, 13, 14, 15)},
            [("EQUALISE.heat", 14, 1.0, "s")],
        ),
        (
            "f" + "eeeee" + "fff",
            {"unknown": (12, 13, 14, 15)},
            [("EQUALISE.heat", 14, 1.0, "s")],
        ),
        # Cool again in between: no second of it in one piece.
        (BOOK, {"warm": (12, 14)}, []),
        # Without current from row 11 on: due at row 14.
        ("f" + "eeee" + "fff", {"idle": (11, 12, 13, 14)}, []),
        (
            "f" + "eeeeee" + "f",
            {"idle": (11, 12, 13, 14, 15, 16)},
            [("EQUALISE.loss", 15, 1.0, "s")],
        ),
        (BOOK, {"idle": (11, 12, 14, 15)}, []),
        # Ended after 3 s of 6 s, and after 5 s, which is within one interval.
        ("f" + "eee" + "fff", {}, [("EQUALISE.whole", 13, 3.0, "s")]),
        ("f" + "eeeee" + "fff", {}, []),
        ("f" + "eee" + "fff", {"idle": (13,)}, [("EQUALISE.whole", 13, 3.0, "s")]),
        ("f" + "eeeeeee" + "fff", {}, []),
        ("f" + "eeeeeeee" + "fff", {}, [("EQUALISE.time", 17, 1.0, "s")]),
        ("f" + "eeeeee" + "bbb", {}, [("EQUALISE.after", 16, 0.0, "")]),
    ],
)
def test_how_it_ends(
    behind: str, changes: dict[str, Any], findings: list[tuple[str, int, float, str]]
) -> None:
    assert broken(behind, **changes) == findings


@pytest.mark.parametrize("behind_s", [100.0, -5.0])
def test_a_break_in_time_abandons_it(behind_s: float) -> None:
    t = [*map(float, range(13)), *(12.0 + behind_s + k for k in range(4))]
    assert broken("f" + "eee" + "ffff", t=t) == []
    ((name, row, margin, unit),) = broken("f" + "eeee" + "fff", t=t)
    assert (name, row, unit) == ("EQUALISE.break", 13, "s")
    assert margin == (behind_s - 30.0 if behind_s > 0 else -behind_s)


def test_one_that_was_abandoned_is_not_tried_again_at_once_and_stays_due() -> None:
    # Abandoned by heat at row 13: the request stays in force, and the next may start at row 33.
    lost = {"warm": (12, 13)}
    early = "f" + "eee" + "fff" + "eeeeee" + "f"
    assert broken(early, **lost) == [("EQUALISE.retry", 16, 17.0, "s")]
    patient = "f" + "eee" + "f" * 20 + "eeeeee" + "f"
    assert broken(patient, **lost) == []
    assert told(patient, **lost).exercised["EQUALISE.retry"] == 1
    forgotten = "f" + "eee" + "f" * 30
    assert broken(forgotten, **lost) == [("EQUALISE.remembered", 34, 0.0, "")]


def test_where_it_may_have_been_completed_or_abandoned_both_are_right() -> None:
    # Row 16 is the end of its time, and of 3 s without current.
    either = {"idle": (13, 14, 15, 16)}
    assert broken(BOOK + "f" * 30, **either) == []
    assert broken("f" + "eeeeee" + "f" * 20 + "eeeeee" + "f", **either) == []


def test_protection_abandons_it() -> None:
    cells = [3.4] * 12 + [3.7] * 7
    readings = {"temp_c": [20.0] * 19, "cell_max_v": cells}
    trips: dict[str, Any] = {"readings": readings}
    assert broken("f" + "eee" + "iiiiii", **trips) == []
    assert broken("f" + "eeee" + "iiiii", **trips) == []
    assert [f[0] for f in broken("f" + "eeeee" + "iiii", **trips)] == ["PROTECT.cell-trips"]


def test_no_full_reset_in_it_or_by_it() -> None:
    for row in (10, 12, 16):
        found = broken(BOOK, resets=[FIRST, row])
        assert [f[:2] for f in found] == [("EQUALISE.no-reset", row)]
    # Nor a count that jumps to 1 without being called a reset.
    quiet = frozenset(FEATURES) - {"full_reset"}
    soc = [0.5] * 16 + [1.0] * 3
    assert [f[:2] for f in broken(BOOK, features=quiet, soc=soc)] == [("SOC.no-jump", 16)]


def test_it_asks_for_its_own_voltage() -> None:
    assert broken(BOOK, asked_v={12: 56.0}) == [("EQUALISE.asks", 12, 1000.0, "mV")]
    assert broken(BOOK, asked_v={12: 57.5}) == [
        ("REQUEST.never-above", 12, 500.0, "mV"),
        ("EQUALISE.asks", 12, 500.0, "mV"),
    ]
    # 5 K under the reference, at -0.1 V a degree.
    asks_v = {"b": 56.5, "a": 56.5, "f": 54.5, "e": 57.5}
    asked_v = {row: asks_v[stage] for row, stage in enumerate(LEAD + BOOK)}
    charge = [UP, *[56.4] * 9, *[REST] * 9]
    size = len(charge)
    given = {"readings": {"temp_c": [20.0] * size}, "i": [5.0] * size, "requests": (2,)}
    settings = {**EQUALISES, "capacity_ah": 1e9, "compensation_v_per_c": -0.1, "asked_v": asked_v}
    assert verdict(LEAD + BOOK, charge, resets=[FIRST], **given, **settings).findings == ()
    asked_v[13] = 57.0
    found = verdict(LEAD + BOOK, charge, resets=[FIRST], **given, **settings).findings
    assert [(f.requirement, f.index) for f in found] == [("EQUALISE.asks", 13)]
    assert broken(BOOK, asked_a={12: 0.0}) == [("REQUEST.current", 12, 100.0, "A")]


def test_a_request_does_not_outlive_a_loss_of_power() -> None:
    again = LEAD + "f" * 3 + LEAD + "f" + "eeeeee" + "ff"
    size = len(again)
    v = [UP, *[HIGH] * 9, *[REST] * 2, UP, *[HIGH] * 9, *[REST] * 8]
    given: dict[str, Any] = {
        "i": [5.0 if row > 15 else 0.0 for row in range(size)],
        "resets": [9, 21],
        "capacity_ah": 1e9,
        "power_cycles": (12,),
    }
    found = verdict(again, v, requests=(5,), **given, **FREE).findings
    assert [(f.requirement, f.index) for f in found] == [("EQUALISE.remembered", 22)]
    # One that comes at the same sample comes after it.
    assert verdict(again, v, requests=(12,), **given, **FREE).findings == ()


def test_float_comes_first_where_the_count_is_low() -> None:
    low = [0.5] * FIRST + [1.0] + [0.2] * 9
    found = broken(BOOK, soc=low, return_soc=0.9, features=frozenset(FEATURES) - {"full_reset"})
    assert ("RETURN.low-soc", 10) in [f[:2] for f in found]


def test_a_step_back_leaves_what_has_elapsed() -> None:
    # Due by schedule 14 s after row 0; the clock is set back by 5 s at row 11, so at row 15.
    # Row 11 passes no time, so row 15 shows 14 s, and row 13 shows 12 s.
    t = [*map(float, range(11)), *map(float, range(5, 15))]
    by_clock: dict[str, Any] = {"t": t, "requests": (), "equalisation_every_s": 14.0}
    assert broken("f" * 6 + "eeeee" + "f", **by_clock) == []
    assert broken("f" * 4 + "eeeeee" + "ff", **by_clock) == [("EQUALISE.due", 13, 2.0, "s")]
    assert broken("f" * 12, **by_clock) == [("EQUALISE.starts", 16, 1.0, "s")]


def test_a_declared_tolerance_of_the_clock_is_forgiven() -> None:
    stages = LEAD + "f" + "e" * 9 + "ff"
    size = len(stages)
    v = [UP, *[HIGH] * FIRST, *[REST] * (size - FIRST - 1)]
    given: dict[str, Any] = {"i": [5.0] * size, "capacity_ah": 1e9, "requests": (2,)}
    run = written(stages, v, resets=[FIRST], **given, **FREE)
    # It lasts 9 s instead of 6 s.
    assert [f.requirement for f in judge(run).findings] == ["EQUALISE.time"]
    assert judge(run, tolerance_s=3.0).findings == ()
