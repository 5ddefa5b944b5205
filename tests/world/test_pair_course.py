"""What a charger did in a run, in a few numbers: on samples written by hand."""

from __future__ import annotations

from math import isnan, nan

import numpy as np
import pytest

from ctrl.charger import ChargerSettings, Conduct
from harness.charger.case import ChargerAnswers, ChargerCase, ChargerRun, ChargerTrace
from harness.run import Identity
from harness.world.charger_course import above_request_at, charger_course, lowest_request

STOPPED, FALLBACK, FOLLOWING = Conduct.STOPPED, Conduct.FALLBACK, Conduct.FOLLOWING
# Every ten seconds: what two packs ask for and read, and what is answered.
ROWS = (
    # asked_1, asked_2, read_1, read_2, set-point, limit, state
    (nan, nan, nan, nan, 54.0, 0.0, STOPPED),
    (56.0, nan, 53.0, nan, 54.0, 0.0, STOPPED),
    (56.0, 55.9, 53.0, 53.1, 55.9, 20.0, FOLLOWING),
    (56.0, 55.9, 55.8, 55.7, 56.2, 20.0, FOLLOWING),
    (56.0, 55.9, 55.9, 55.97, 56.1, 20.0, FOLLOWING),
    # Lowered: both packs fall slowly, and the charger has nothing to do with it.
    (54.0, 54.0, 55.8, 55.7, 54.2, 20.0, FOLLOWING),
    (54.0, 54.0, 54.4, 54.3, 54.2, 20.0, FOLLOWING),
    (54.0, 54.0, 53.9, 53.8, 54.9, 20.0, FALLBACK),
    (54.0, 54.0, 54.03, 53.8, 54.2, 20.0, FOLLOWING),
    # Without a limit nothing that is read is the charger's.
    (54.0, 54.0, 55.5, 53.8, 55.0, 0.0, FOLLOWING),
)


def made(rows: tuple[tuple[float, ...], ...] = ROWS) -> ChargerRun:
    table = np.array(rows, dtype=np.float64)
    count = len(table)
    zeros = np.zeros((count, 2))
    trace = ChargerTrace(
        t=np.arange(0.0, 10.0 * count, 10.0),
        own_v=np.full(count, 54.0),
        own_a=np.zeros(count),
        request_v=table[:, 0:2],
        request_a=zeros + 50.0,
        pack_v=table[:, 2:4],
        pack_a=zeros,
        stage=zeros.astype(np.int8),
        age_s=zeros,
    )
    answers = ChargerAnswers(table[:, 4], table[:, 5], table[:, 6].astype(np.int8))
    case = ChargerCase("by-hand/charger", ChargerSettings(packs=2), trace)
    return ChargerRun(case, Identity("any", "1", "none", frozenset()), answers)


def test_the_lowest_request_is_that_of_the_packs_that_have_one() -> None:
    lowest_v = lowest_request(made())
    assert isnan(lowest_v[0])
    assert lowest_v[1:6].tolist() == [56.0, 55.9, 55.9, 55.9, 54.0]


def test_a_state_lasts_until_the_next_sample() -> None:
    # 20 s, 10 s and what is left of 90 s: the last sample has no next one.
    hours = charger_course(made()).state_h
    seconds = {word: 3600.0 * h for word, h in hours.items()}
    assert seconds == pytest.approx({"stopped": 20.0, "fallback": 10.0, "following": 60.0})


def test_the_most_above_the_request_is_taken_while_it_follows() -> None:
    # 300 mV at 30 s; 900 mV in fallback, and 1 V without a limit, is what it answers at the end.
    most = charger_course(made(ROWS[:9])).above_request
    assert [most.v, most.t] == pytest.approx([0.3, 30.0])
    assert charger_course(made()).above_request.v == pytest.approx(1.0)


def test_the_most_that_is_read_is_not_that_of_a_pack_which_falls_to_a_lowered_request() -> None:
    most = charger_course(made()).over_request
    assert [most.v, most.t] == pytest.approx([0.07, 40.0])
    after = charger_course(made(ROWS[5:])).over_request
    assert after.v == pytest.approx(1.8), "where it was lowered before the run nobody knows of it"


def test_where_nothing_was_said_there_is_nothing_to_tell() -> None:
    course = charger_course(made(ROWS[:1]))
    assert isnan(course.above_request.v)
    assert isnan(course.over_request.t)


def test_what_was_added_at_a_moment_is_that_of_the_sample_before_it() -> None:
    run = made()
    assert above_request_at(run, 39.9) == pytest.approx(0.3)
    assert above_request_at(run, 40.0) == pytest.approx(0.2)
    assert isnan(above_request_at(run, -1.0))
