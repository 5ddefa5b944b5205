"""The catalogue is whole: each requirement is put to the test, and each fault breaks what it should."""

from __future__ import annotations

from collections import Counter

import pytest

from harness.charger.attach import InProcessCharger
from harness.charger.cases import charger_cases
from harness.charger.faults import FAULTS
from harness.charger.rules import CHARGER_GROUPS, CHARGER_REQUIREMENTS, charger_requirement
from harness.charger.verify import tried_charger, verify_charger
from harness.report.catalogue import any_requirement
from harness.rules import REQUIREMENTS
from harness.run import Outcome

LINK = "LINK"
OWN = [requirement for requirement in CHARGER_REQUIREMENTS if requirement.group != LINK]
CASES = charger_cases()


def test_ids_are_unique_and_no_controller_has_them() -> None:
    ids = [requirement.id for requirement in CHARGER_REQUIREMENTS]
    assert len(ids) == len(set(ids)) == 47
    assert {requirement.id for requirement in OWN} & {r.id for r in REQUIREMENTS} == set()
    assert any_requirement("SENSE.reaches") is charger_requirement("SENSE.reaches")
    assert any_requirement("HOLD.full-length").group == "HOLD"


@pytest.mark.parametrize("requirement", OWN, ids=lambda requirement: requirement.id)
def test_each_says_what_and_why(requirement: object) -> None:
    asked = charger_requirement(getattr(requirement, "id", ""))
    assert asked.group in CHARGER_GROUPS
    assert asked.statement.endswith(".")
    assert asked.reason.endswith(".")
    assert not asked.title.endswith(".")
    assert asked.level == "must"


def test_the_reference_conforms_and_every_requirement_is_put_to_the_test() -> None:
    report = verify_charger(InProcessCharger("ref"), CASES)
    assert report.findings == ()
    assert report.errors == {}
    assert {result.outcome for result in report.results} == {Outcome.PASS}
    assert report.cases == len(CASES) == 47


def test_every_case_has_a_story_and_a_name_of_its_own() -> None:
    assert len({case.id for case in CASES}) == len({case.story for case in CASES}) == len(CASES)
    assert all(case.story.endswith(".") for case in CASES)


@pytest.mark.parametrize("name", FAULTS)
def test_every_fault_is_found_in_each_requirement_that_it_breaks(name: str) -> None:
    fault = FAULTS[name]
    attachment = InProcessCharger(name, fault.made, name)
    ids = {requirement.id for requirement in CHARGER_REQUIREMENTS}
    groups = {broken.partition(".")[0].lower() for broken in fault.breaks}
    # Where it is most likely found comes first, and when all is found that is enough.
    found: set[str] = set()
    for case in sorted(CASES, key=lambda case: case.id.partition("/")[0] not in groups):
        verdict, _ = tried_charger(attachment, case, ids, 0.0)
        found |= {finding.requirement for finding in verdict.findings}
        if set(fault.breaks) <= found:
            break
    assert set(fault.breaks) - found == set()


def test_each_requirement_has_two_faults_that_break_it() -> None:
    counted = Counter(name for fault in FAULTS.values() for name in fault.breaks)
    assert len(FAULTS) == 82
    assert [r.id for r in OWN if counted[r.id] < 2] == []
    assert set(counted) <= {r.id for r in OWN}
