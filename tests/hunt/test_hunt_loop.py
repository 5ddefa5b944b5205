"""The loop: what is found, counted, blamed and kept."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from itertools import islice
from typing import Any

import pytest

from ctrl.settings import Settings
from harness.attach import attach
from harness.attach.python import PythonAttachment
from harness.examples.python.controller import Controller
from harness.hunt.failure import Hunted, Key
from harness.hunt.hunt import CUT_ONE_IN, as_tried, hunt
from harness.strategies.sweep import sweep
from harness.zoo.subject import attached
from tests.hunt.faulty import zoo

HOLD = "HOLD.full-length"


def own(controller: type[Any], limit_s: float = 10.0) -> PythonAttachment:
    return PythonAttachment("py:own", controller, limit_s)


def kinds(found: Hunted) -> list[tuple[str, str, int, int]]:
    return [(f.key.requirement, f.key.way, f.number, f.traces) for f in found.failures]


def test_a_controller_that_keeps_the_rules_shows_nothing() -> None:
    with attached(None) as attachment:
        found = hunt(attachment, seed=3, traces=60)
    assert found.failures == ()
    assert found.errors == {}
    assert found.traces == 60
    assert found.exercised["ENTRY.held-long-enough"] > 0
    assert found.exercised["LINK.cuts"] == 60 // CUT_ONE_IN
    assert found.exercised["LINK.fresh-start"] == 59
    assert found.exercised["LINK.stops"] == 1


def test_the_reference_is_judged_by_every_trace() -> None:
    with attach("ref") as attachment:
        found = hunt(attachment, seed=0, traces=420)
    assert found.judged == 420
    assert found.failures == ()
    with attached(None) as attachment:
        assert hunt(attachment, seed=0, traces=420).judged < 420


def test_the_same_traces_give_the_same_finds() -> None:
    with zoo("hold-one-minute-short") as attachment:
        one = hunt(attachment, seed=0, traces=60)
        other = hunt(attachment, seed=0, traces=60)
        longer = hunt(attachment, seed=0, traces=80)
    assert kinds(one) == kinds(other)
    assert one.exercised == other.exercised
    assert [f.number for f in longer.failures][: len(one.failures)] == [
        f.number for f in one.failures
    ]


def test_a_known_failure_is_counted_and_the_hunt_goes_on() -> None:
    with zoo("hold-one-minute-short") as attachment:
        found = hunt(attachment, seed=0, traces=80)
    by_key = {failure.key: failure for failure in found.failures}
    early = by_key[Key(HOLD, "absorption to float")]
    assert early.traces > 5
    assert early.case is not None
    assert early.case.id == f"hunt/0-{early.number}"
    assert any(failure.key.requirement != HOLD for failure in found.failures)
    assert len(by_key) == len(found.failures)


def test_one_trace_can_be_hunted_again() -> None:
    with zoo("sag-restart-ignored") as attachment:
        found = hunt(attachment, seed=0, traces=70)
        (failure,) = found.failures
        again = hunt(attachment, seed=0, traces=1, first=failure.number)
    assert kinds(again) == [(failure.key.requirement, failure.key.way, failure.number, 1)]
    assert again.first == failure.number


def test_what_is_not_selected_is_not_found() -> None:
    with zoo("hold-one-minute-short") as attachment:
        found = hunt(attachment, seed=0, traces=60, selected=["ENTRY.not-late"])
    assert found.failures == ()
    with zoo("hold-one-minute-short") as attachment, pytest.raises(ValueError, match=r"HOLD\.none"):
        hunt(attachment, seed=0, traces=1, selected=["HOLD.none"])


def test_what_is_not_claimed_is_neither_tried_nor_judged() -> None:
    class Plain(Controller):
        features = tuple(name for name in Controller.features if name != "sag_restart")

        def __init__(self, settings: Mapping[str, Any], soc: float) -> None:
            assert settings["on_sag"] != "restart"
            super().__init__(settings, soc)

    found = hunt(own(Plain), seed=0, traces=100)
    assert found.failures == ()
    assert "HOLD.sag-restarts" not in found.exercised


def test_fixed_settings_are_those_of_every_trace() -> None:
    fixed_settings = Settings(hold_s=20.0)

    class Fixed(Controller):
        fixed = fixed_settings.to_mapping()

        def __init__(self, settings: Mapping[str, Any], soc: float) -> None:
            assert dict(settings) == fixed_settings.to_mapping()
            super().__init__(settings, soc)

    attachment = own(Fixed)
    found = hunt(attachment, seed=0, traces=40)
    assert found.failures == ()
    assert found.exercised["HOLD.ends"] > 0
    with pytest.raises(ValueError, match="fixed"):
        hunt(attachment, seed=0, traces=1, settings=Settings())


def test_an_exception_is_a_failure_and_the_hunt_goes_on() -> None:
    class Dies(Controller):
        def step(self, *readings: float | None) -> dict[str, Any]:
            if readings[0] is None:
                raise ZeroDivisionError("no stamp")
            answer: dict[str, Any] = super().step(*readings)
            return answer

    found = hunt(own(Dies), seed=0, traces=150)
    (failure,) = found.failures
    assert failure.key == Key("LINK.stays-alive", "")
    assert failure.finding.observed == "ZeroDivisionError: no stamp"
    assert failure.case is not None
    # The row at which it dies has no stamp.
    assert failure.case.trace.rows()[failure.finding.index][0] is None
    assert 1 <= failure.traces < 150
    assert found.traces == 150


def test_a_controller_that_hangs_is_given_up() -> None:
    class Hangs(Controller):
        def step(self, *readings: float | None) -> dict[str, Any]:  # noqa: ARG002
            while True:
                pass

    found = hunt(own(Hangs, 0.05), seed=0, traces=100)
    assert kinds(found) == [("LINK.answers", "", 0, 5)]
    assert found.traces == 5
    assert found.stopped == "5 traces in a row had no proper answer"


def test_one_that_never_says_who_it_is_is_a_failure_without_a_trace() -> None:
    class Nobody(Controller):
        version = ""

    found = hunt(own(Nobody), seed=0, traces=10)
    (failure,) = found.failures
    assert failure.key.requirement == "LINK.greets"
    assert failure.case is None
    assert found.identity is None
    assert found.traces == 0


@pytest.mark.parametrize(
    ("fault", "requirement"),
    [
        ("dwells-lost-between-messages", "LINK.cuts"),
        ("interval-lost-between-messages", "LINK.cuts"),
        ("state-kept-over-starts", "LINK.fresh-start"),
    ],
)
def test_what_comes_of_messages_is_not_blamed_on_the_rules(fault: str, requirement: str) -> None:
    with zoo(fault) as attachment:
        found = hunt(attachment, seed=0, traces=24)
    assert {failure.key.requirement for failure in found.failures} == {requirement}
    (failure,) = found.failures
    assert "was answered differently" in failure.finding.sentence
    if requirement == "LINK.cuts":
        assert failure.case is not None
        assert failure.case.cuts
        assert failure.before == 0
    else:
        assert failure.before == 1
        with zoo(fault) as attachment:
            again = hunt(attachment, seed=0, traces=2, first=failure.number - 1)
        assert [f.key.requirement for f in again.failures] == [requirement]


def test_the_program_has_to_end_when_it_is_told_to() -> None:
    command = f"exec:{sys.executable} -m harness.zoo.saboteurs hang_at_stop"
    with attach(command, limit_s=0.5) as attachment:
        found = hunt(attachment, seed=0, traces=2)
    assert [f.key.requirement for f in found.failures] == ["LINK.stops"]


def test_an_interrupted_hunt_keeps_what_it_found() -> None:
    asked: Iterator[bool] = iter([False] * 40 + [True])
    with zoo("hold-one-minute-short") as attachment:
        found = hunt(attachment, seed=0, interrupted=lambda: next(asked))
        assert found.interrupted
        assert found.traces == 40
        assert kinds(found) == kinds(hunt(attachment, seed=0, traces=40))

    class Interrupts(Controller):
        def __init__(self, settings: Mapping[str, Any], soc: float) -> None:
            if Interrupts.left == 0:
                raise KeyboardInterrupt
            Interrupts.left -= 1
            super().__init__(settings, soc)

        left = 7

    found = hunt(own(Interrupts), seed=0)
    assert found.interrupted
    assert found.traces == 7


def test_the_time_is_a_budget_too() -> None:
    with attached(None) as attachment:
        found = hunt(attachment, seed=0, seconds=0.2)
    assert 0 < found.traces < 2000
    assert not found.interrupted
    assert found.stopped == ""


def test_progress_is_told_before_each_trace() -> None:
    told: list[tuple[int, int]] = []
    with zoo("entry-at-first-touch") as attachment:
        hunt(attachment, seed=0, traces=8, progress=lambda *now: told.append(now))
    assert [done for done, _ in told] == list(range(8))
    assert told[0][1] == 0
    assert told[-1][1] > 0


def test_one_trace_in_four_is_cut_into_short_messages() -> None:
    cases = [as_tried(each) for each in islice(sweep(0), 32)]
    cut = [case for case in cases if case.cuts]
    assert 7 <= len(cut) <= 8
    lengths = {case.cuts[0] for case in cut}
    assert lengths == {1, 2, 3, 4, 5, 6, 7}
