"""What keeps the rules raises no finding: without that, finding faults would prove nothing."""

from __future__ import annotations

import pytest

from harness.attach import attach
from harness.run import Case, Outcome
from harness.verify import verify
from harness.zoo.build import EXAMPLES
from harness.zoo.fault import Fault
from harness.zoo.subject import attached
from harness.zoo.variants import VARIANTS


@pytest.mark.parametrize("spec", ["ref", f"py:{EXAMPLES['Python']}:Controller"])
def test_reference_and_example_conform(spec: str, cases: tuple[Case, ...]) -> None:
    with attach(spec) as attachment:
        report = verify(attachment, cases)
    assert report.findings == ()
    assert report.exit_code == 0
    assert report.cases == len(cases)
    assert {result.outcome for result in report.results} == {Outcome.PASS}


@pytest.mark.parametrize("variant", VARIANTS, ids=lambda variant: variant.name)
def test_a_variant_that_keeps_the_rules_raises_no_finding(
    variant: Fault, cases: tuple[Case, ...]
) -> None:
    with attached(variant) as attachment:
        report = verify(attachment, cases)
    assert report.findings == ()
    assert report.exit_code == 0
