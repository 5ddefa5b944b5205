"""A result of a charger to tell: one that never looks at a message again, on three cases."""

from __future__ import annotations

from attrs import evolve

from ctrl.charger import ChargerOutput, ChargerSample, ChargerSettings, Conduct
from harness.charger.attach import InProcessCharger
from harness.charger.case import ChargerCase
from harness.charger.cases import charger_cases
from harness.charger.verify import CHARGER
from harness.report.charger_excerpt import charger_excerpts_of
from harness.report.environment import Environment
from harness.report.keeping import Keeping
from harness.report.result import Result
from harness.verify import verify_as

ENVIRONMENT = Environment(
    command="fullproof verify --role charger 'py:pier.py:Deaf'",
    ended="2031-02-03T04:05:06+00:00",
    python="CPython 3.11",
    platform="a machine on a pier",
    packages={"fullproof": "0.1.0"},
)
TRIED = ("stale/wire-off", "packs/two-requests", "restart/while-following")


class Deaf:
    """It gives what it last heard, however long ago, and takes nothing back."""

    def __init__(self, settings: ChargerSettings) -> None:
        self.nothing = ChargerOutput(settings.fallback_v, 0.0, Conduct.STOPPED)
        self.said = self.nothing

    def step(self, sample: ChargerSample) -> ChargerOutput:
        """Follow the first pack that can be heard."""
        first = sample.messages[0]
        if first.request_v == first.request_v:
            self.said = ChargerOutput(first.request_v, first.request_a, Conduct.FOLLOWING)
        return self.said

    def power_cycle(self) -> None:
        """Forget everything."""
        self.said = self.nothing


def cases(*names: str) -> list[ChargerCase]:
    """Shipped cases by their ids."""
    by_id = {case.id: case for case in charger_cases()}
    return [by_id[name] for name in names]


def deaf_result() -> Result:
    """What comes of trying it on the three cases."""
    tried = cases(*TRIED)
    keeping = Keeping(excerpts=charger_excerpts_of)
    with InProcessCharger("py:pier.py:Deaf", Deaf, "deaf") as attachment:
        report = verify_as(CHARGER, attachment, tried, keep=keeping)
    return Result(
        evolve(report, spec="py:pier.py:Deaf"),
        tried=TRIED,
        environment=ENVIRONMENT,
        excerpts=tuple(keeping.excerpts),
    )
