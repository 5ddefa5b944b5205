"""Any small bank in closed loop: the reference keeps every rule in it, and faulty controllers show.

What the physics conserve is tested in tests/world; here it is what controllers make of them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from ctrl.settings import Settings
from harness.attach import Attachment, attach
from harness.attach.base import LinkFault
from harness.attach.drive import drive
from harness.attach.python import PythonAttachment
from harness.hunt.reduce import Shown, reduced
from harness.judge import judge
from harness.run import FEATURES, Case, Finding, Run, needed_features
from harness.strategies.worlds import pack_settings, run_world, worlds
from harness.world.bank import World
from harness.zoo.build import fault_named, python_controller

EXAMPLE: Any = python_controller()


def controllers(world: World, *classes: type[Any]) -> list[Attachment]:
    """The classes for the first packs; the reference for the rest."""
    count = len(world.packs)
    first: Sequence[Attachment] = [PythonAttachment("tried", each, 10.0) for each in classes]
    return [*first, *(attach("ref") for _ in range(count))][:count]


def test_the_reference_keeps_every_rule_in_any_world_and_much_is_put_to_the_test() -> None:
    exercised: Counter[str] = Counter()
    packs: Counter[int] = Counter()

    @settings(max_examples=max(130, settings().max_examples))
    @given(worlds())
    def look(world: World) -> None:
        packs[len(world.packs)] += 1
        for run in run_world(world):
            verdict = judge(run)
            assert [(f.requirement, f.index, f.sentence) for f in verdict.findings] == []
            exercised.update({name: 1 for name, times in verdict.exercised.items() if times})

    look()
    assert min(packs[1], packs[2], packs[3]) >= 5
    for requirement in (
        "ENTRY.held-long-enough", "HOLD.full-length", "FULL.granted", "FULL.denied",
        "FLOAT.timer-ends", "PROTECT.cell-trips", "TIME.gap-adds-nothing", "TIME.invalid-skipped",
    ):  # fmt: skip
        assert exercised[requirement] >= 2, requirement


@settings(max_examples=settings().max_examples // 4)
@given(worlds())
def test_the_example_keeps_every_rule_beside_the_reference(world: World) -> None:
    for run in run_world(world, controllers(world, EXAMPLE)):
        assert [(f.requirement, f.index, f.sentence) for f in judge(run).findings] == []


def first_found(fault: str, most: int) -> tuple[Run, Finding]:
    """The first world in which a faulty controller among references shows, of so many."""
    faulty = python_controller(fault_named(fault))
    found: list[tuple[Run, Finding]] = []

    @settings(
        max_examples=most,
        phases=[Phase.generate],
        database=None,
        derandomize=True,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(worlds())
    def look(world: World) -> None:
        if found:
            return
        own, *others = run_world(world, controllers(world, faulty))
        # Its neighbours on the same bus are not blamed for it.
        assert [finding for run in others for finding in judge(run).findings] == []
        findings = judge(own).findings
        if findings:
            found.append((own, findings[0]))

    look()
    assert found, f"{fault} is not found in {most} worlds"
    return found[0]


@pytest.mark.parametrize(
    ("fault", "requirements", "most"),
    [
        ("hold-one-minute-short", {"HOLD.full-length"}, 60),
        ("full-without-recheck", {"FULL.voltage", "FULL.confirmed", "FULL.taper"}, 180),
        ("entry-at-first-touch", {"ENTRY.held-long-enough"}, 60),
        ("gap-counted", {"TIME.gap-adds-nothing"}, 90),
    ],
)
def test_a_faulty_controller_is_found_within_so_many_worlds(
    fault: str, requirements: set[str], most: int
) -> None:
    _, finding = first_found(fault, most)
    assert finding.requirement in requirements


def test_a_closed_loop_case_is_a_case_like_any_other_and_can_be_reduced() -> None:
    run, finding = first_found("hold-one-minute-short", 20)
    faulty = PythonAttachment("f", python_controller(fault_named("hold-one-minute-short")), 10.0)
    again = drive(faulty, run.case)
    assert np.array_equal(again.answers.stage, run.answers.stage)
    assert judge(drive(attach("ref"), run.case)).findings == ()

    def shows(case: Case) -> Shown | None:
        tried = drive(faulty, case)
        same = [f for f in judge(tried).findings if f.requirement == finding.requirement]
        return Shown(same[0], tried) if same else None

    small = reduced(run.case, shows, runs=300)
    assert small.shown is not None
    assert small.shown.finding.requirement == finding.requirement
    assert len(small.case.trace) <= 12 < len(run.case.trace)


class Dies(EXAMPLE):  # type: ignore[misc]
    """Works for seven samples."""

    taken = 0

    def step(self, *readings: float | None) -> dict[str, Any]:
        self.taken += 1
        if self.taken == 8:
            raise RuntimeError("out of samples")
        said: dict[str, Any] = super().step(*readings)
        return said


@settings(max_examples=5)
@given(worlds(most_packs=1))
def test_a_controller_that_fails_in_the_loop_is_told_with_its_sample(world: World) -> None:
    with pytest.raises(LinkFault, match="out of samples") as caught:
        run_world(world, controllers(world, Dies))
    assert caught.value.requirement == "LINK.stays-alive"
    assert caught.value.index == 7


@given(st.data())
def test_settings_keep_to_what_is_claimed(data: st.DataObject) -> None:
    claimed = data.draw(st.frozensets(st.sampled_from(FEATURES)))
    drawn = data.draw(pack_settings(claimed))
    assert needed_features(drawn) <= claimed
    assert (drawn.return_soc is None) or "return_soc" in claimed
    assert (drawn.cell_limit_v is None) or "cell_protection" in claimed
    assert (drawn.charge_max_c is None) or "temperature_protection" in claimed


@settings(max_examples=20)
@given(worlds(Settings(capacity_ah=100.0, hold_s=45.0), most_packs=2))
def test_settings_and_the_number_of_packs_can_be_given(world: World) -> None:
    assert {branch.settings.hold_s for branch in world.packs} == {45.0}
    assert len(world.packs) <= 2


@given(st.data())
@settings(max_examples=1)
def test_a_number_of_packs_that_cannot_be_is_refused(data: st.DataObject) -> None:
    for most_packs in (0, 4):
        with pytest.raises(ValueError, match="it must be 1 to 3"):
            data.draw(worlds(most_packs=most_packs))
