"""The state machine for controllers: one that keeps the rules passes, faulty ones are caught."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from typing import Any, ClassVar

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from ctrl.controller import start, step
from ctrl.settings import Settings
from ctrl.state import Sample
from harness.attach import Attachment, attach
from harness.attach.python import PythonAttachment
from harness.hunt.machine import charge_machine, deadlines_s
from harness.run import Answers, Trace
from harness.zoo.build import EXAMPLES, fault_named, python_controller
from harness.zoo.variants import VARIANTS

EXAMPLE: Any = python_controller()
SHORT = Settings(hold_s=20.0, confirm_s=3.0, return_dwell_s=5.0)


def effort(examples: int, *phases: Phase) -> settings:
    return settings(
        max_examples=examples,
        stateful_step_count=20,
        phases=phases or (Phase.generate,),
        derandomize=True,
        database=None,
        deadline=None,
        report_multiple_bugs=False,
        suppress_health_check=list(HealthCheck),
    )


def opened(controller: type[Any]) -> Callable[[], Attachment]:
    return lambda: PythonAttachment("tried", controller, 10.0)


def failure_of(
    attached: Callable[[], Attachment], given: Settings | None, effort: settings
) -> AssertionError:
    with pytest.raises(AssertionError) as caught:
        run_state_machine_as_test(charge_machine(attached, given), settings=effort)
    return caught.value


TestExample = charge_machine(opened(EXAMPLE)).TestCase
TestExample.settings = effort(40)


@pytest.mark.parametrize("variant", VARIANTS, ids=lambda variant: variant.name)
def test_a_conforming_variant_passes(variant: Any) -> None:
    machine = charge_machine(opened(python_controller(variant)))
    run_state_machine_as_test(machine, settings=effort(4))


def test_a_program_passes() -> None:
    spec = f"exec:{sys.executable} {EXAMPLES['Python']}"
    run_state_machine_as_test(charge_machine(lambda: attach(spec)), settings=effort(5))


@pytest.mark.parametrize(
    ("fault", "examples", "given"),
    [
        ("full-without-recheck", 20, SHORT),
        ("stage-kept-over-power-loss", 40, SHORT),
        ("entry-at-first-touch", 20, None),
        ("gap-not-noticed-in-hold", 60, None),
    ],
)
def test_a_faulty_controller_is_caught(fault: str, examples: int, given: Settings | None) -> None:
    chosen = fault_named(fault)
    failure = failure_of(opened(python_controller(chosen)), given, effort(examples))
    assert chosen.requirement in str(failure)


def test_a_failure_is_shrunk_to_few_steps_and_told_in_words() -> None:
    faulty = python_controller(fault_named("hold-one-minute-short"))
    given = Settings(hold_s=120.0)
    failure = failure_of(opened(faulty), given, effort(30, Phase.generate, Phase.shrink))
    assert str(failure).startswith("HOLD.full-length: Absorption was left 60 s too early")
    assert "(sample " in str(failure)
    told = "\n".join(failure.__notes__)
    assert "settings: hold_s = 120.0; soc 0.5" in told
    # The start, into absorption, most of its hold, and the end.
    assert 3 <= told.count("state.") <= 6
    assert " samples, t = " in told


class Forgetful(PythonAttachment):
    """Dwells are lost from message to message."""

    def run(self, trace: Trace) -> Answers:
        self._object.since.clear()
        return super().run(trace)


def test_what_is_wrong_only_in_pieces_is_blamed_on_the_cuts() -> None:
    def attached() -> Attachment:
        return Forgetful("forgetful", EXAMPLE, 10.0)

    failure = failure_of(attached, Settings(entry_dwell_s=10.0), effort(50))
    assert str(failure).startswith("LINK.cuts: The same trace in one message keeps the rules")


class Dies(EXAMPLE):  # type: ignore[misc]
    """Divides by a current of zero."""

    def step(self, *readings: float) -> dict[str, Any]:
        said: dict[str, Any] = super().step(*readings)
        return (
            said if readings[2] is None else said | {"soc": said["soc"] * (1 // readings[2] != 7)}
        )


def test_a_controller_that_dies_is_told_with_the_sample_at_which_it_does() -> None:
    failure = failure_of(opened(Dies), None, effort(50))
    assert str(failure).startswith("LINK.stays-alive: step(…) raised ZeroDivisionError")
    assert "(sample " in str(failure)


class Refuses(EXAMPLE):  # type: ignore[misc]
    """Starts with no settings at all."""

    def __init__(self, *given: Any) -> None:  # noqa: ARG002  the ones it refuses
        raise ValueError("never")


def test_a_controller_that_refuses_its_settings_is_told() -> None:
    failure = failure_of(opened(Refuses), None, effort(5))
    assert (
        str(failure) == "LINK.starts: The controller refused settings that the rules allow: never"
    )


class Fixed(EXAMPLE):  # type: ignore[misc]
    """Has one set of settings, and says so."""

    fixed = SHORT.to_mapping()
    seen: ClassVar[set[float]] = set()

    def __init__(self, settings: Mapping[str, Any], soc: float) -> None:
        Fixed.seen.add(settings["hold_s"])
        super().__init__(settings, soc)


def test_fixed_settings_come_before_those_that_are_given() -> None:
    machine = charge_machine(opened(Fixed), Settings(hold_s=99.0))
    run_state_machine_as_test(machine, settings=effort(5))
    assert Fixed.seen == {20.0}


@pytest.mark.parametrize("tolerance_s", [-1.0, float("nan"), float("inf")])
def test_a_tolerance_that_is_none_is_refused(tolerance_s: float) -> None:
    with pytest.raises(ValueError, match="0 or greater"):
        charge_machine(opened(EXAMPLE), tolerance_s=tolerance_s)


def test_the_declared_tolerance_of_the_clock_is_granted() -> None:
    faulty = python_controller(fault_named("hold-one-minute-short"))
    given = Settings(hold_s=120.0)
    lenient = charge_machine(opened(faulty), given, tolerance_s=60.0)
    run_state_machine_as_test(lenient, settings=effort(15))
    assert " s too early" in str(failure_of(opened(faulty), given, effort(30)))


def test_deadlines_are_those_of_the_stage() -> None:
    given = Settings(
        entry_dwell_s=3.0, hold_s=20.0, confirm_s=4.0, on_unconfirmed="wait", wait_limit_s=30.0,
        float_s=50.0, return_dwell_s=7.0, release_dwell_s=9.0, trip_dwell_s=1.0, empty_dwell_s=10.0,
    )  # fmt: skip
    state = start(0.5)
    always = [1.0, 10.0]

    def after(*readings: tuple[float, float]) -> list[float]:
        nonlocal state
        for t, v in readings:
            state, _ = step(given, state, Sample(t, v, 0.0, cell_max_v=3.4))
        return deadlines_s(given, state)

    assert deadlines_s(given, state) == [3.0, *always]
    assert after((0.0, 56.0), (1.0, 56.0)) == [2.0, *always]
    assert after((3.0, 56.0), (8.0, 56.0)) == [15.0, *always]
    assert after((23.0, 56.0), (24.0, 56.0)) == [3.0, 29.0, *always]
    assert after((27.0, 56.0), (32.0, 52.0)) == [7.0, 45.0, *always]
    for t in (33.0, 34.0):
        state, _ = step(given, state, Sample(t, 56.0, 0.0, cell_max_v=3.7))
    assert after((36.0, 54.0), (38.0, 54.0)) == [7.0, *always]
