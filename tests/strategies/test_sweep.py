"""The sweep: the same traces whoever asks, with the reference's own answers, and nothing left out."""

from __future__ import annotations

from itertools import islice
from typing import Any

import numpy as np
import pytest

from ctrl.compiled import as_tuples
from ctrl.controller import Controller, Sample, start
from ctrl.resets import VOLTAGE_AFTER_HOLD
from ctrl.settings import Settings
from ctrl.state import events_of
from ctrl.transitions import TRANSITIONS
from ctrl.vocabulary import Stage
from harness.attach import attach, drive
from harness.judge import judge
from harness.rules import REQUIREMENTS
from harness.run import ANSWER_COLUMNS, FEATURES, Run
from harness.strategies.choices import MOST_SAMPLES
from harness.strategies.limits_row import limits_from, powered_up, reset_rule, row_of
from harness.strategies.sweep import SAME_SETTINGS, Swept, sweep

MANY = 2000


@pytest.fixture(scope="module")
def swept() -> list[Swept]:
    return list(islice(sweep(0), MANY))


def plain(compiled: Any) -> Any:
    """The function that was compiled."""
    return compiled.py_func


def bits(one: Swept) -> tuple[object, ...]:
    trace = one.case.trace
    columns = tuple(trace.column(name).tobytes() for name in trace.columns)
    return one.number, one.case.id, one.case.settings, one.case.soc, trace.columns, columns


def test_answers_are_those_of_the_reference(swept: list[Swept]) -> None:
    with attach("ref") as reference:
        for one in swept[:300]:
            answers = drive(reference, one.case).answers
            for name in ANSWER_COLUMNS:
                assert np.array_equal(getattr(answers, name), getattr(one.said, name)), one.case.id


@pytest.mark.parametrize("start", [1, SAME_SETTINGS - 1, SAME_SETTINGS, 5 * SAME_SETTINGS + 3])
def test_a_trace_depends_on_seed_and_number_only(swept: list[Swept], start: int) -> None:
    again = list(islice(sweep(0, start=start), 20))
    assert [bits(one) for one in again] == [bits(one) for one in swept[start : start + 20]]


def test_another_seed_sweeps_elsewhere(swept: list[Swept]) -> None:
    other = [bits(one)[3:] for one in islice(sweep(1), 20)]
    assert not set(other) & {bits(one)[3:] for one in swept[:20]}


@pytest.mark.parametrize(("seed", "start"), [(-1, 0), (0, -1)])
def test_negative_numbers_are_refused(seed: int, start: int) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        next(sweep(seed, start=start))


def test_given_settings_are_those_of_every_trace() -> None:
    own = Settings(hold_s=7.0)
    assert {one.case.settings for one in islice(sweep(0, settings=own), 40)} == {own}


# No trace of the sweep equalises or doubts a sensor: the vectors and the mutants try these.
NOT_SWEPT = ("EQUALISE.", "COMPENSATE.")


def test_every_way_out_of_a_stage_is_taken(swept: list[Swept]) -> None:
    with attach("ref") as reference:
        reference.hello()
        seen = set()
        for one in swept[:600]:
            seen |= ways(one)
    listed = {
        (stage, row.to, str(row.happened.name).lower(), row.cause.word if row.cause else "")
        for stage, rows in TRANSITIONS.items()
        for row in rows
        if Stage.EQUALISATION not in (stage, row.to)
    }
    assert listed - seen == set()


def ways(one: Swept) -> set[tuple[Stage, Stage, str, str]]:
    """What the reference says happened in a trace."""
    controller = Controller(one.case.settings, one.case.soc)
    trace, cycles = one.case.trace, set(one.case.power_cycles)
    columns = [trace.column(name).tolist() for name in trace.columns]
    seen = set()
    for k, row in enumerate(zip(*columns, strict=True)):
        if k in cycles:
            controller.power_cycle()
        output = controller.step(Sample(**dict(zip(trace.columns, row, strict=True))))
        for event in events_of(output.news, output.stage):
            seen.add((event.from_stage, event.to_stage, event.name, event.cause))
    return seen


def test_every_requirement_on_behaviour_is_exercised(swept: list[Swept]) -> None:
    with attach("ref") as reference:
        identity = reference.hello()
    seen = set()
    for one in swept:
        seen |= set(judge(Run(one.case, identity, one.said)).exercised)
    due = {r.id for r in REQUIREMENTS if r.group != "LINK" and not r.id.startswith(NOT_SWEPT)}
    assert due - seen == set()


def test_everything_that_can_go_wrong_with_readings_does(swept: list[Swept]) -> None:
    t = [one.case.trace.t for one in swept]
    steps = [np.diff(stamps) for stamps in t]
    gap_s = [one.case.settings.max_gap_s for one in swept]
    happened = {
        "gap": any((step > gap).any() for step, gap in zip(steps, gap_s, strict=True)),
        "longest interval": any(
            (step == gap).any() for step, gap in zip(steps, gap_s, strict=True)
        ),
        "step back": any((step < -0.1).any() for step in steps),
        "wrap of 32 bits of milliseconds": any((step < -4e6).any() for step in steps),
        "repeated stamp": any((step == 0.0).any() for step in steps),
        "no stamp": any(np.isnan(stamps).any() for stamps in t),
        "stamp far from zero": any(stamps[0] > 1e9 for stamps in t),
        "stamp before zero": any(stamps[0] < 0.0 for stamps in t),
        "no voltage": any(np.isnan(one.case.trace.v).any() for one in swept),
        "no current": any(np.isnan(one.case.trace.i).any() for one in swept),
        "no optional column": any(len(one.case.trace.columns) < 6 for one in swept),
        "loss of power": any(one.case.power_cycles for one in swept),
        "full trace": any(len(stamps) == MOST_SAMPLES for stamps in t),
        "a reading at the threshold": any(
            (one.case.trace.v == one.case.settings.entry_v).any() for one in swept
        ),
        "a millivolt under it": any(
            (abs(one.case.trace.v - one.case.settings.entry_v + 1e-3) < 1e-9).any() for one in swept
        ),
    }
    assert [name for name, found in happened.items() if not found] == []


def test_what_is_not_claimed_is_not_tried() -> None:
    plain = frozenset({"soc", "full_reset"})
    for one in islice(sweep(0, features=plain), 200):
        own = one.case.settings
        assert one.case.power_cycles == ()
        assert (own.float_s, own.return_soc, own.taper_a, own.empty_v) == (None,) * 4
        assert (own.cell_limit_v, own.charge_min_c, own.charge_max_c) == (None,) * 3
        assert (own.on_sag, own.confirm_s, own.compensation_v_per_c) == ("run", 0.0, 0.0)
        assert own.on_unconfirmed != "wait"
    assert plain < set(FEATURES)


def test_limits_come_back_from_a_row_of_numbers(swept: list[Swept]) -> None:
    for one in swept[:: SAME_SETTINGS * 5]:
        limits, rule, _ = as_tuples(one.case.settings, start(0.5), VOLTAGE_AFTER_HOLD)
        assert plain(limits_from)(row_of(one.case.settings)) == limits
        assert plain(reset_rule)() == rule
    state = as_tuples(Settings(), start(0.25), VOLTAGE_AFTER_HOLD)[2]
    assert repr(plain(powered_up)(0.25)) == repr(state)
