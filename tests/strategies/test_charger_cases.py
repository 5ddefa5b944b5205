"""Drawn cases of a charger: whole, right, and shrunk to what is plain."""

from __future__ import annotations

import numpy as np
from hypothesis import HealthCheck, Phase, find, given, settings

from ctrl.charger import ChargerSettings
from harness.charger.attach import InProcessCharger, attach_charger, drive_charger
from harness.charger.faults import FAULTS
from harness.charger.hunting.drawn_settings import drawn_settings
from harness.charger.hunting.picks import Picks
from harness.charger.judge import judge_charger
from harness.strategies.chargers import ChargerDrawn, charger_cases

FEW = settings(max_examples=12, suppress_health_check=[HealthCheck.too_slow])
HUT = ChargerSettings(packs=2, silent_s=20.0)


@FEW
@given(charger_cases())
def test_the_reference_conforms_on_all_of_them(drawn: ChargerDrawn) -> None:
    run = drive_charger(attach_charger("ref"), drawn.case)
    assert np.array_equal(run.answers.set_point_v, drawn.said.set_point_v)
    assert judge_charger(run).findings == ()


@settings(FEW, max_examples=5)
@given(charger_cases(HUT))
def test_settings_that_are_given_are_those_of_the_case(drawn: ChargerDrawn) -> None:
    assert drawn.case.settings == HUT
    assert drawn.case.trace.packs == 2


def test_what_fails_is_shrunk_and_printed_whole() -> None:
    charger = InProcessCharger("x", FAULTS["steps-up"].made, "x")

    def fails(drawn: ChargerDrawn) -> bool:
        return bool(judge_charger(drive_charger(charger, drawn.case)).findings)

    found = find(
        charger_cases(),
        fails,
        settings=settings(max_examples=20, phases=(Phase.generate, Phase.shrink), database=None),
    )
    assert found.case.settings == drawn_settings(Picks(numbers=[]))
    assert repr(found).startswith("ChargerDrawn(settings=ChargerSettings(")
