"""The reference as one controller among others."""

from __future__ import annotations

import numpy as np
import pytest
from attrs import evolve

import harness.attach.reference as reference
from ctrl.resets import RESET_RULES
from ctrl.settings import Settings
from harness.attach import Refused, attach, drive
from harness.run import FEATURES, Answers, Case, Trace

SETTINGS = Settings.for_cells(16, hold_s=20.0)


def charge(size: int = 60) -> Trace:
    v = np.full(size, 55.9)
    v[:5] = 54.0
    return Trace(np.arange(float(size)), v, np.full(size, 40.0), cell_max_v=v / 16)


def same(one: Answers, other: Answers) -> bool:
    names = ("stage", "soc", "full_reset", "voltage_request_v", "current_request_a")
    return all(getattr(one, n).tolist() == getattr(other, n).tolist() for n in names)


def test_who_it_is() -> None:
    with attach("ref") as plain, attach("ref:first_touch") as other:
        assert plain.hello().name == "reference"
        assert other.hello().name == "reference with first_touch"
        assert plain.hello().features == set(FEATURES)
        assert plain.hello().fixed is None


def test_a_hold_ends_in_a_full_reset() -> None:
    with attach("ref") as attachment:
        attachment.start(SETTINGS, 0.75)
        answers = attachment.run(charge())
    assert answers.stage.dtype == np.int8
    assert answers.stage.tolist() == [0] * 8 + [1] * 20 + [2] * 32
    assert answers.full_reset is not None
    assert np.flatnonzero(answers.full_reset).tolist() == [28]
    assert answers.voltage_request_v is not None
    assert answers.voltage_request_v[[0, 20, 40]].tolist() == [56.0, 56.0, 54.0]
    assert answers.current_request_a is not None
    assert set(answers.current_request_a.tolist()) == {100.0}
    assert answers.soc is not None
    assert answers.soc[28] == 1.0


@pytest.mark.parametrize("rule", RESET_RULES)
def test_every_rule_can_be_named(rule: str) -> None:
    with attach(f"ref:{rule}") as attachment:
        attachment.start(SETTINGS, 0.75)
        resets = attachment.run(charge()).full_reset
    assert resets is not None
    # Neither taper rule resets: no taper current is set.
    first = {"voltage_after_hold": [28], "first_touch": [9], "hold_only": [28]}
    assert np.flatnonzero(resets).tolist() == first.get(rule, [])


def test_a_fresh_start_and_a_loss_of_power() -> None:
    with attach("ref") as attachment:
        attachment.start(SETTINGS, 0.75)
        whole = attachment.run(charge())
        attachment.start(SETTINGS, 0.75)
        assert same(attachment.run(charge()), whole)
        attachment.power_cycle()
        after = attachment.run(charge(1))
    assert after.stage.tolist() == [0]
    assert after.soc is not None
    assert whole.soc is not None
    assert after.soc[0] == whole.soc[-1]


def test_a_long_trace_is_replayed_with_the_same_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    parts = (charge().part(0, 25), charge().part(25, 60))
    with attach("ref:first_touch") as attachment:
        attachment.start(SETTINGS, 0.75)
        stepped = [attachment.run(part) for part in parts]
        monkeypatch.setattr(reference, "LONG_TRACE_SAMPLES", 10)
        monkeypatch.setattr(reference, "_stepped", None)
        attachment.start(SETTINGS, 0.75)
        replayed = [attachment.run(part) for part in parts]
    assert same(Answers.joined(replayed), Answers.joined(stepped))


def test_an_equalisation_is_asked_for_stepped_or_replayed(monkeypatch: pytest.MonkeyPatch) -> None:
    settings = SETTINGS.changed(equalisation_v=57.0, equalisation_s=10.0, equalisation_max_c=None)
    # In float from row 28 on; asked for between rows 39 and 40.
    asked = Case("asked", settings, charge(), equalise_requests=(40,))
    with attach("ref") as attachment:
        stepped = drive(attachment, asked).answers
        quiet = drive(attachment, evolve(asked, equalise_requests=())).answers
        monkeypatch.setattr(reference, "LONG_TRACE_SAMPLES", 5)
        monkeypatch.setattr(reference, "_stepped", None)
        replayed = drive(attachment, asked).answers
    assert stepped.stage.tolist() == [0] * 8 + [1] * 20 + [2] * 12 + [4] * 10 + [2] * 10
    assert stepped.voltage_request_v is not None
    assert stepped.voltage_request_v[[39, 40, 49, 50]].tolist() == [54.0, 57.0, 57.0, 54.0]
    assert quiet.stage.tolist() == [0] * 8 + [1] * 20 + [2] * 32
    assert same(stepped, replayed)


def test_a_request_comes_after_the_loss_of_power_at_the_same_sample() -> None:
    settings = SETTINGS.changed(equalisation_v=57.0, hold_s=5.0, equalisation_max_c=None)
    case = Case("both", settings, charge(), power_cycles=(20,), equalise_requests=(10, 20))
    with attach("ref") as attachment:
        stages = drive(attachment, case).answers.stage.tolist()
    # The first request is followed in float at 14 s, the second one at 29 s.
    assert stages[13:16] == [2, 4, 4]
    assert stages[20] == 0
    assert stages[28:31] == [2, 4, 4]


def test_a_count_that_is_no_fraction_is_refused() -> None:
    with attach("ref") as attachment, pytest.raises(Refused, match=r"1\.5"):
        attachment.start(SETTINGS, 1.5)


def test_nothing_runs_before_start() -> None:
    with attach("ref") as attachment:
        with pytest.raises(RuntimeError):
            attachment.run(charge())
        attachment.start(SETTINGS, 0.5)
        with pytest.raises(ValueError, match="at least one sample"):
            attachment.run(charge().part(0, 0))
        attachment.stop()
        with pytest.raises(RuntimeError):
            attachment.power_cycle()
        with pytest.raises(RuntimeError):
            attachment.request_equalisation()


def test_driving_a_case_joins_its_stretches(case: Case) -> None:
    with attach("ref") as attachment:
        run = drive(attachment, case)
        assert run.case is case
        assert run.identity == attachment.hello()
        assert len(run.answers) == 60
        assert run.answers.stage[[9, 39, 40]].tolist() == [1, 2, 0]


def test_a_case_without_samples_is_refused(case: Case) -> None:
    empty = Case("empty", case.settings, case.trace.part(0, 0))
    with attach("ref") as attachment, pytest.raises(ValueError, match="case empty has no samples"):
        drive(attachment, empty)
