"""Nothing that keeps the rules raises a finding, however the trace hangs on a hair."""

from __future__ import annotations

from itertools import islice

import pytest

from harness.attach import drive
from harness.judge import judge
from harness.strategies.sweep import sweep
from harness.zoo.fault import Fault
from harness.zoo.subject import attached
from harness.zoo.variants import VARIANTS

TRACES = 250


@pytest.mark.parametrize("variant", [None, *VARIANTS], ids=lambda v: v.name if v else "example")
def test_no_finding_on_a_controller_that_keeps_the_rules(variant: Fault | None) -> None:
    # Every variant is tried on traces of its own.
    seed = 1 + [None, *VARIANTS].index(variant)
    with attached(variant) as controller:
        findings = [
            (finding.case, finding.requirement, finding.sentence)
            for one in islice(sweep(seed), TRACES)
            for finding in judge(drive(controller, one.case)).findings
        ]
    assert findings == []
