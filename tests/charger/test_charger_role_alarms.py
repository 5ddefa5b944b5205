"""Chargers that keep the rules raise no finding: not in the cases, and not on drawn traces."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ctrl.charger import Charger, ChargerSettings
from harness.charger.attach import InProcessCharger, Stepper, drive_charger
from harness.charger.cases import charger_cases
from harness.charger.judge import judge_charger
from harness.charger.variants import VARIANTS
from harness.charger.verify import verify_charger
from tests.charger.walked import walked
from tests.properties.charger_walks import Walk, settings_and_charger_walks

Made = Callable[[ChargerSettings], Stepper]
RIGHT: dict[str, Made] = dict(VARIANTS)


@pytest.mark.parametrize("name", VARIANTS)
def test_what_keeps_the_rules_in_another_way_conforms(name: str) -> None:
    report = verify_charger(InProcessCharger(name, VARIANTS[name], name), charger_cases())
    assert report.findings == ()
    assert report.errors == {}
    assert report.exit_code == 0


@pytest.mark.parametrize("name", VARIANTS)
def test_the_variants_are_others_than_the_reference(name: str) -> None:
    def answered(made: Made, case_number: int) -> list[float]:
        case = charger_cases()[case_number]
        answers = drive_charger(InProcessCharger("x", made), case).answers
        return [*answers.set_point_v.tolist(), *answers.limit_a.tolist()]

    cases = range(len(charger_cases()))
    assert any(answered(VARIANTS[name], k) != answered(Charger, k) for k in cases)


@settings(max_examples=200, suppress_health_check=[HealthCheck.too_slow])
@given(settings_and_charger_walks(), st.sampled_from(sorted(RIGHT)))
def test_no_drawn_trace_finds_anything_in_them(
    drawn: tuple[ChargerSettings, Walk], name: str
) -> None:
    assert judge_charger(walked(Charger, *drawn)).findings == ()
    assert judge_charger(walked(RIGHT[name], *drawn)).findings == ()
