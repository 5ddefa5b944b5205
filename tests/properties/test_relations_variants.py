"""Relations raise no finding on controllers that keep the rules, though they differ in detail."""

from __future__ import annotations

from itertools import islice

import pytest
from hypothesis import settings

from harness.attach import Attachment, attach
from harness.attach.drive import drive
from harness.attach.python import PythonAttachment
from harness.hunt.relations import RELATIONS
from harness.strategies.sweep import sweep
from harness.zoo.build import python_controller
from harness.zoo.variants import VARIANTS

# As many traces as the profile has examples; all relations look at each only in a long search.
TRACES = min(settings().max_examples, 600)
ALL = TRACES > 200
SWEPT = [swept.case for swept in islice(sweep(2024), TRACES)]


def conforming() -> list[tuple[str, Attachment]]:
    variants = [(v.name, PythonAttachment(v.name, python_controller(v), 10.0)) for v in VARIANTS]
    example = PythonAttachment("example", python_controller(), 10.0)
    return [("reference", attach("ref")), ("example", example), *variants]


@pytest.mark.parametrize(
    "attachment", [pytest.param(controller, id=name) for name, controller in conforming()]
)
def test_a_controller_that_keeps_the_rules_breaks_no_relation(attachment: Attachment) -> None:
    applied = {relation.name: 0 for relation in RELATIONS}
    identity = attachment.hello()
    for number, case in enumerate(SWEPT):
        run = drive(attachment, case)
        *twice, alone = RELATIONS
        for relation in RELATIONS if ALL else (twice[number % len(twice)], alone):
            if relation.skipped(identity, case):
                continue
            applied[relation.name] += 1
            assert relation.check(attachment, case, run=run) is None, (relation.name, case.id)
    assert min(applied.values()) >= TRACES // 20
