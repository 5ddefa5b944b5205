"""A whole verdict: outcomes, exit codes, and what happens when a controller fails to answer."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from attrs import evolve

from ctrl.settings import Settings
from harness.attach.base import Attachment, LinkFault, Refused
from harness.attach.reference import open_attachment
from harness.run import FEATURES, Answers, Case, Expected, Identity, Outcome, Trace
from harness.verdict import Report
from harness.verify import verify
from tests.unit.rules.written_runs import SHORT

SETTINGS = Settings().changed(**SHORT)


def case(name: str = "charge", **changes: Any) -> Case:
    """One charge: entry, hold, full reset, float."""
    v = np.array([55.0, *[55.9] * 9, 54.0, 54.0])
    whole = Case(name, SETTINGS, Trace(np.arange(12.0), v, np.zeros(12)))
    return evolve(whole, **changes)


class Scripted(Attachment):
    """The reference, but for what a test makes it do on the cases of its choice."""

    def __init__(self, features: frozenset[str] = frozenset(FEATURES)) -> None:
        super().__init__("scripted", 1.0)
        self.inner = open_attachment("ref", "", 1.0)
        self.features = features
        self.starts = 0
        self.restarts = 0
        self.fault_at: dict[int, LinkFault] = {}
        self.changed: dict[int, dict[str, Any]] = {}

    def hello(self) -> Identity:
        return Identity("scripted", "1", "none", self.features)

    def start(self, settings: Settings, soc: float) -> None:
        self.starts += 1
        fault = self.fault_at.get(self.starts)
        if isinstance(fault, Refused):
            raise fault
        self.inner.start(settings, soc)

    def run(self, trace: Trace) -> Answers:
        if self.starts in self.fault_at:
            raise self.fault_at[self.starts]
        return evolve(self.inner.run(trace), **self.changed.get(self.starts, {}))

    def power_cycle(self) -> None:
        self.inner.power_cycle()

    def restart(self) -> None:
        self.restarts += 1


def outcome(report: Report, requirement: str) -> Outcome:
    """The outcome of one requirement."""
    return next(r.outcome for r in report.results if r.requirement == requirement)


def crash() -> LinkFault:
    """A program that died."""
    return LinkFault("LINK.stays-alive", observed="killed", expected="alive", sentence="it died")


def test_the_reference_conforms() -> None:
    report = verify(Scripted(), [case()])
    assert report.exit_code == 0
    assert report.findings == ()
    assert outcome(report, "HOLD.full-length") is Outcome.PASS
    assert outcome(report, "PROTECT.cell-trips") is Outcome.NOT_EXERCISED


def test_what_is_not_claimed_is_said_to_be_so() -> None:
    report = verify(Scripted(frozenset({"full_reset"})), [case()])
    assert outcome(report, "SOC.counts") is Outcome.NOT_CLAIMED
    assert outcome(report, "FULL.voltage") is Outcome.PASS


def test_a_case_that_needs_an_unclaimed_feature_is_not_applicable() -> None:
    report = verify(
        Scripted(frozenset({"full_reset"})), [case(), case("waits", features=frozenset({"wait"}))]
    )
    assert report.cases == 1
    assert report.not_applicable == {"waits": "needs wait, which the controller does not claim"}


def test_a_crash_is_a_finding_and_the_run_goes_on() -> None:
    controller = Scripted()
    controller.fault_at = {1: crash()}
    report = verify(controller, [case("first"), case("second")])
    assert report.exit_code == 1
    assert controller.restarts >= 1
    assert outcome(report, "LINK.stays-alive") is Outcome.FAIL
    assert outcome(report, "HOLD.full-length") is Outcome.PASS
    assert [f.case for f in report.findings] == ["first"]


def test_refused_settings_are_a_finding_and_the_program_lives_on() -> None:
    controller = Scripted()
    controller.fault_at = {1: Refused("too high")}
    report = verify(controller, [case("first"), case("second")])
    assert [f.requirement for f in report.findings] == ["LINK.starts"]
    # Only the farewell at the end throws it away.
    assert controller.restarts == 1


def test_a_controller_that_never_says_who_it_is() -> None:
    class Mute(Scripted):
        def hello(self) -> Identity:
            raise LinkFault("LINK.greets", observed="nothing", expected="hello", sentence="silence")

    report = verify(Mute(), [case("first"), case("second")])
    assert report.identity is None
    assert report.exit_code == 1
    assert outcome(report, "LINK.greets") is Outcome.FAIL
    assert outcome(report, "HOLD.full-length") is Outcome.UNKNOWN


def test_a_second_start_that_is_not_fresh() -> None:
    controller = Scripted()
    controller.changed = {2: {"soc": np.full(12, 0.4)}}
    report = verify(controller, [case(requirements=("LINK.fresh-start",))])
    assert [f.requirement for f in report.findings] == ["LINK.fresh-start"]
    assert report.exit_code == 1


def test_answers_that_depend_on_the_cuts() -> None:
    controller = Scripted()
    controller.changed = {2: {"soc": np.full(12, 0.4)}}
    report = verify(controller, [case(cuts=(3, 7), requirements=("LINK.cuts",))])
    assert [f.requirement for f in report.findings] == ["LINK.cuts"]


def test_the_net_under_the_checks_compares_with_what_is_expected() -> None:
    stages = ((0.0, "bulk"), (3.0, "absorption"), (9.0, "float"))
    right = Expected(stages=stages, resets=(9.0,))
    about = ("HOLD.full-length",)
    assert verify(Scripted(), [case(expected=right, requirements=about)]).findings == ()
    wrong = Expected(stages=((0.0, "bulk"), (6.0, "absorption"), (9.0, "float")))
    report = verify(Scripted(), [case(expected=wrong, requirements=about)])
    assert [(f.requirement, f.t, f.margin) for f in report.findings] == [
        ("HOLD.full-length", 3.0, 3.0)
    ]
    none = Expected(stages=stages)
    report = verify(Scripted(), [case(expected=none, requirements=("FULL.voltage", *about))])
    assert [(f.requirement, f.observed) for f in report.findings] == [
        ("HOLD.full-length", "full reset at t = 9 s")
    ]


def test_nothing_to_try_and_unknown_requirements_are_errors() -> None:
    with pytest.raises(ValueError, match="no case"):
        verify(Scripted(), [])
    with pytest.raises(ValueError, match=r"HOLD\.no-such"):
        verify(Scripted(), [case()], selected=["HOLD.no-such"])
    with pytest.raises(ValueError, match="none was named"):
        verify(Scripted(), [case()], selected=[])


def test_nothing_judged_is_never_a_pass() -> None:
    report = verify(Scripted(), [case()], selected=["PROTECT.cell-trips"])
    assert outcome(report, "PROTECT.cell-trips") is Outcome.NOT_EXERCISED
    assert report.exit_code == 3


def test_fail_fast_stops_at_the_first_case_with_a_finding() -> None:
    controller = Scripted()
    controller.fault_at = {1: crash()}
    assert verify(controller, [case("first"), case("second")], fail_fast=True).cases == 1


def test_a_controller_that_falls_silent_is_given_up() -> None:
    silence = LinkFault("LINK.answers", observed="nothing", expected="rows", sentence="silence")
    controller = Scripted()
    controller.fault_at = dict.fromkeys(range(2, 99), silence)
    report = verify(controller, [case(str(number)) for number in range(10)])
    assert report.cases == 6
    assert sorted(report.errors) == ["6", "7", "8", "9"]
    assert report.exit_code == 1


def test_a_fault_is_told_with_the_stamp_of_its_sample() -> None:
    fault = crash()
    fault.index = 4
    controller = Scripted()
    controller.fault_at = {1: fault}
    report = verify(controller, [case("first"), case("second")])
    assert [(f.index, f.t) for f in report.findings] == [(4, 4.0)]


def test_a_case_that_cannot_be_judged_does_not_block_the_others() -> None:
    class Odd(Scripted):
        def run(self, trace: Trace) -> Answers:
            if self.starts == 1:
                raise ArithmeticError("not a number")
            return super().run(trace)

    report = verify(Odd(), [case("first"), case("second")])
    assert report.errors == {"first": "could not be judged: ArithmeticError: not a number"}
    assert outcome(report, "HOLD.full-length") is Outcome.PASS
    assert report.exit_code == 3


def test_sentences_read_as_sentences() -> None:
    controller = Scripted()
    controller.changed = {1: {"soc": np.full(12, 0.4)}}
    report = verify(controller, [case()])
    assert [f.sentence for f in report.findings if f.requirement == "SOC.starts"] == [
        "The first sample shows a state of charge of 0.4000000, not its start, 0.5000000."
    ]


def test_the_shortest_trace_that_shows_a_failure_comes_first() -> None:
    controller = Scripted()
    late, early = np.full(12, 0.5), np.full(12, 0.5)
    late[8:], early[2:] = 0.7, 0.7
    controller.changed = {1: {"soc": late}, 2: {"soc": early}}
    report = verify(controller, [case("late"), case("early")], selected=["SOC.no-jump"])
    assert [(f.case, f.index) for f in report.findings] == [("early", 2), ("late", 8)]
