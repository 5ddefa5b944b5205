"""Arms of a bank whose cells gas are what each arm is on its own."""

from __future__ import annotations

from attrs import evolve

from ctrl.resets import RESET_RULES
from tests.study.test_engine_equals_loop import assert_same
from tests.world.test_lead_acid_loops import lead_acid_world


def test_the_engine_of_studies_gives_what_the_loop_gives() -> None:
    one = lead_acid_world()
    arms = [evolve(one, bank=evolve(one.bank, policy=policy)) for policy in ("every", "any")]
    found = assert_same(arms, [RESET_RULES["voltage_after_hold"]] * 2)
    assert all(columns["stopped"] == 0.0 for columns in found)
