"""Every relation between runs can fail: a faulty controller for each, and what is said of it."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import islice
from math import nan
from typing import Any

import numpy as np
import pytest
from attrs import evolve

from ctrl.settings import Settings
from harness.attach import Attachment, attach
from harness.attach.base import LinkFault
from harness.attach.drive import drive
from harness.attach.python import PythonAttachment
from harness.hunt.relation import Relation
from harness.hunt.relations import RELATIONS
from harness.rules import REQUIREMENTS
from harness.run import Answers, Case, Finding, Trace
from harness.strategies.sweep import sweep
from harness.zoo.build import python_controller

BY_NAME = {relation.name: relation for relation in RELATIONS}
SWEPT = [swept.case for swept in islice(sweep(11), 80)]
EXAMPLE: Any = python_controller()


class Forgetful(PythonAttachment):
    """Dwells are lost from message to message."""

    def run(self, trace: Trace) -> Answers:
        if self._object is not None:
            self._object.since.clear()
        return super().run(trace)


class Remembering(EXAMPLE):  # type: ignore[misc]
    """What was counted before survives a start."""

    last_soc: float | None = None

    def __init__(self, settings: Mapping[str, Any], soc: float) -> None:
        super().__init__(settings, soc if Remembering.last_soc is None else Remembering.last_soc)

    def step(self, *readings: float | None) -> dict[str, Any]:
        said: dict[str, Any] = super().step(*readings)
        Remembering.last_soc = self.soc
        return said


class SinglePrecisionClock(EXAMPLE):  # type: ignore[misc]
    """Stamps are kept in single precision, which is coarser than a second after some months."""

    def step(self, t: float | None, *readings: float | None) -> dict[str, Any]:
        coarse_t = None if t is None else float(np.float32(t))
        said: dict[str, Any] = super().step(coarse_t, *readings)
        return said


class ZeroIsNever(EXAMPLE):  # type: ignore[misc]
    """A hold that begins at time 0 is taken for one that has not begun."""

    def _hold_is_over(self, dt: float) -> bool:
        return self.hold_since != 0.0 and bool(super()._hold_is_over(dt))


class CountsSamples(EXAMPLE):  # type: ignore[misc]
    """The hold is over after so many samples, as if there were one a second."""

    def _hold_is_over(self, dt: float) -> bool:
        self.hold_since = self.t - self.settings["hold_s"] * (
            self.samples >= self.settings["hold_s"]
        )
        return bool(super()._hold_is_over(dt))

    def _take(self) -> None:
        self.samples = getattr(self, "samples", 0) + 1 if self.stage == "absorption" else 0
        super()._take()


class ForSixteenCells(EXAMPLE):  # type: ignore[misc]
    """The entry voltage of sixteen cells is written into the program."""

    def __init__(self, settings: Mapping[str, Any], soc: float) -> None:
        super().__init__(dict(settings) | {"entry_v": 55.8}, soc)


class Upside(EXAMPLE):  # type: ignore[misc]
    """The full voltage is compared the wrong way round."""

    def _stage_condition(self) -> bool:
        if self.stage == "absorption":
            return bool(self.v < self._level("full_v"))
        return bool(super()._stage_condition())


class Startled(EXAMPLE):  # type: ignore[misc]
    """A sample that cannot be believed makes every dwell begin anew."""

    def _take(self) -> None:
        if np.isnan(self.v):
            self.since.clear()
        super()._take()


class HoldsNothing(EXAMPLE):  # type: ignore[misc]
    """The hold is over as soon as it has begun."""

    def _hold_is_over(self, dt: float) -> bool:
        self.hold_since = -1e12
        return bool(super()._hold_is_over(dt))


def attached(controller: type[Any], kind: type[PythonAttachment] = PythonAttachment) -> Attachment:
    return kind("faulty", controller, 10.0)


def first_found(relation: Relation, attachment: Attachment) -> tuple[int, Finding]:
    for number, case in enumerate(SWEPT):
        finding = relation.check(attachment, case)
        if finding is not None:
            return number, finding
    raise AssertionError(f"{relation.name} finds nothing in {len(SWEPT)} traces")


@pytest.mark.parametrize(
    ("name", "attachment", "requirements"),
    [
        ("cut-anywhere", attached(EXAMPLE, Forgetful), {"LINK.cuts"}),
        ("run-again", attached(Remembering), {"LINK.fresh-start"}),
        ("clock-shifted", attached(SinglePrecisionClock), {"SOC.counts", "ENTRY.held-long-enough"}),
        ("clock-shifted", attached(ZeroIsNever), {"HOLD.ends", "HOLD.sag-runs-on", "FULL.granted"}),
        (
            "sampled-denser",
            attached(CountsSamples),
            {"HOLD.full-length", "HOLD.sag-runs-on", "HOLD.ends"},
        ),
        ("cells-scaled", attached(ForSixteenCells), {"ENTRY.held-long-enough"}),
        ("full-voltage-raised", attached(Upside), {"FULL.voltage", "FULL.granted"}),
        ("unreadable-between", attached(Startled), {"TIME.invalid-skipped"}),
        ("reset-proved", attached(HoldsNothing), {"HOLD.full-length"}),
    ],
    ids=lambda value: value if isinstance(value, str) else None,
)
def test_each_relation_finds_a_controller_that_breaks_it(
    name: str, attachment: Attachment, requirements: set[str]
) -> None:
    number, finding = first_found(BY_NAME[name], attachment)
    assert finding.requirement in requirements
    assert finding.case == SWEPT[number].id
    assert 0 <= finding.index < len(SWEPT[number].trace)
    assert finding.sentence.endswith(".")


def test_the_catalogue_of_relations_is_in_order() -> None:
    assert len(BY_NAME) == len(RELATIONS) == 8
    assert {each.requirement for each in RELATIONS} <= {each.id for each in REQUIREMENTS}
    for relation in RELATIONS:
        assert relation.statement.endswith(".")
        assert relation.reason.endswith(".")
        assert relation.source


def test_the_finding_tells_what_was_changed_and_how_the_answer_differs() -> None:
    number, finding = first_found(BY_NAME["cells-scaled"], attached(ForSixteenCells))
    t = SWEPT[number].trace.t[finding.index]
    assert finding.sentence == (
        "The same trace, on 2 times the cells, at 2 times the pack voltages, was answered "
        f"differently at t = {t:g} s: stage absorption, not bulk."
    )
    assert (finding.observed, finding.expected) == ("stage absorption", "stage bulk")


class WithFixedSettings(EXAMPLE):  # type: ignore[misc]
    """A controller whose settings cannot be set."""

    fixed = Settings().to_mapping()


class ClaimsNothing(EXAMPLE):  # type: ignore[misc]
    """A controller that claims no feature at all."""

    features = ()


def plain_case(**changes: Any) -> Case:
    t = np.arange(0.0, 20.0)
    trace = Trace(t, np.full(20, 54.0), np.full(20, 10.0))
    return evolve(Case("plain", Settings(), trace), **changes)


FAR_APART = evolve(plain_case().trace, t=np.linspace(0.0, 2e6, 20))
MOVING = evolve(plain_case().trace, v=np.linspace(54.0, 55.0, 20))
STAMPLESS = evolve(plain_case().trace, t=np.full(20, nan))


@pytest.mark.parametrize(
    ("name", "controller", "case", "why"),
    [
        ("cells-scaled", WithFixedSettings, plain_case(), "fixed settings"),
        ("full-voltage-raised", WithFixedSettings, plain_case(), "fixed settings"),
        ("run-again", WithFixedSettings, plain_case(settings=Settings(hold_s=60.0)), "other than"),
        ("full-voltage-raised", ClaimsNothing, plain_case(), "no full_reset"),
        ("reset-proved", ClaimsNothing, plain_case(), "no full_reset"),
        ("cut-anywhere", ClaimsNothing, plain_case(power_cycles=(3,)), "needs power_cycle"),
        ("cut-anywhere", ClaimsNothing, plain_case(features=frozenset({"wait"})), "needs wait"),
        ("clock-shifted", EXAMPLE, plain_case(trace=FAR_APART), "more than 1.04858e+06 s apart"),
        ("clock-shifted", EXAMPLE, plain_case(trace=STAMPLESS), "no sample has a time stamp"),
        ("sampled-denser", EXAMPLE, plain_case(trace=MOVING), "never stand still"),
    ],
)
def test_a_relation_that_does_not_apply_says_so_and_is_skipped(
    name: str, controller: type[Any], case: Case, why: str
) -> None:
    attachment, relation = attached(controller), BY_NAME[name]
    assert why in relation.skipped(attachment.hello(), case)
    assert relation.check(attachment, case) is None
    assert relation.skipped(attach("ref").hello(), plain_case()) == ""


class FallsSilent(PythonAttachment):
    """Answers the first run, and no other."""

    runs = 0

    def run(self, trace: Trace) -> Answers:
        self.runs += 1
        if self.runs == 1:
            return super().run(trace)
        raise LinkFault(
            "LINK.answers", observed="nothing", expected="an answer", sentence="It fell silent."
        )


def test_a_fault_of_the_link_in_a_changed_run_is_found_and_the_controller_started_anew() -> None:
    attachment = FallsSilent("faulty", EXAMPLE, 10.0)
    finding = BY_NAME["run-again"].check(attachment, plain_case())
    assert finding is not None
    assert (finding.requirement, finding.case, finding.index) == ("LINK.answers", "plain", -1)
    with pytest.raises(RuntimeError, match="has not been started"):
        PythonAttachment.run(attachment, plain_case().trace)


def test_a_case_with_cuts_of_its_own_is_compared_with_the_whole() -> None:
    t = np.arange(0.0, 12.0)
    trace = Trace(t, np.full(12, 56.0), np.full(12, 10.0))
    pieces = Case("pieces", Settings(), trace, cuts=tuple(range(12)))
    finding = BY_NAME["cut-anywhere"].check(attached(EXAMPLE, Forgetful), pieces)
    assert finding is not None
    assert (finding.observed, finding.expected) == ("stage bulk", "stage absorption")
    assert finding.index == 3


def test_what_was_answered_already_is_not_asked_again() -> None:
    class Counting(PythonAttachment):
        """Counts its starts."""

        starts = 0

        def start(self, settings: Settings, soc: float) -> None:
            self.starts += 1
            super().start(settings, soc)

    attachment = Counting("counting", EXAMPLE, 10.0)
    run = drive(attachment, SWEPT[0])
    for relation, starts in (("reset-proved", 0), ("run-again", 1), ("sampled-denser", 1)):
        before = attachment.starts
        assert BY_NAME[relation].check(attachment, SWEPT[0], run=run) is None
        assert attachment.starts - before == starts
