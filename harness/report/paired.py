"""What came of a pair: controllers and a charger together on one scenario, and who is to blame."""

from __future__ import annotations

from functools import cached_property

from attrs import frozen

from harness.explain.reason import Reason
from harness.run import Finding
from harness.verdict import CaseVerdict
from harness.world.charger_course import ChargerCourse, charger_course
from harness.world.filled import Filling, fillings
from harness.world.result import OF_CHARGER, Result
from harness.world.scenario import Scenario
from harness.world.voltage_account import Account

REFERENCE = "ref"


@frozen
class Crossed:
    """The same scenario with the reference on one side, or on both.

    Attributes:
        own_controllers: whether the controllers are those under test; if not, the reference.
        own_charger: whether the charger is the one under test; if not, the reference.
        fillings: how far each pack came; none where it could not be run.
        stopped: why it ended early, or never began; empty where it did neither.
    """

    own_controllers: bool
    own_charger: bool
    fillings: tuple[Filling, ...]
    stopped: str = ""

    @property
    def fills_all(self) -> bool:
        """Whether every pack was filled."""
        return bool(self.fillings) and all(each.filled for each in self.fillings)


@frozen(eq=False, slots=False)
class Paired:
    """What came of controllers and charger on one scenario.

    Attributes:
        scenario: what was run.
        specs: how the controller of each pack was named.
        charger_spec: how the charger was named.
        result: what came of it; `result.charger` is there.
        verdicts: what the requirements say of each pack's controller; None where it saw nothing.
        charger_verdict: what they say of the charger; None where it saw nothing.
        reasons: why each pack was not filled; None where it was, or where nobody can say.
        accounts: where the voltage of each pack that was not filled went; None as above.
        crossed: what the reference makes of it; empty where that was not tried.
    """

    scenario: Scenario
    specs: tuple[str, ...]
    charger_spec: str
    result: Result
    verdicts: tuple[CaseVerdict | None, ...]
    charger_verdict: CaseVerdict | None
    reasons: tuple[Reason | None, ...] = ()
    accounts: tuple[Account | None, ...] = ()
    crossed: tuple[Crossed, ...] = ()

    @cached_property
    def fillings(self) -> tuple[Filling, ...]:
        """How far each pack came."""
        return fillings(self.result)

    @cached_property
    def course(self) -> ChargerCourse | None:
        """What the charger did; None where it never took a sample."""
        run = self.result.charger
        return charger_course(run) if run is not None and len(run.answers) else None

    @property
    def fills_all(self) -> bool:
        """Whether every pack was filled."""
        return all(each.filled for each in self.fillings)

    @property
    def own_controllers(self) -> bool:
        """Whether any controller is another than the reference."""
        return any(spec != REFERENCE for spec in self.specs)

    @property
    def own_charger(self) -> bool:
        """Whether the charger is another than the reference."""
        return self.charger_spec != REFERENCE

    @property
    def charger_findings(self) -> tuple[Finding, ...]:
        """Every finding about the charger; a broken link is one."""
        found = () if self.charger_verdict is None else self.charger_verdict.findings
        return (*found, *self._fault(OF_CHARGER))

    def findings_of(self, p: int) -> tuple[Finding, ...]:
        """Every finding about the controller of a pack; a broken link is one."""
        verdict = self.verdicts[p]
        found = () if verdict is None else verdict.findings
        return (*found, *self._fault(p))

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every finding: first those about the charger, then those about the controllers."""
        of_packs = [f for p in range(len(self.verdicts)) for f in self.findings_of(p)]
        return (*self.charger_findings, *of_packs)

    @property
    def failed_physics(self) -> bool:
        """Whether the run ended early without a fault of anybody under test."""
        return self.result.stop is not None and self.result.stop.fault is None

    def _fault(self, who: int) -> tuple[Finding, ...]:
        stop = self.result.stop
        if stop is None or stop.fault is None or stop.pack != who:
            return ()
        name = "charger" if who == OF_CHARGER else self.result.packs[who].name
        case = f"{self.result.world.name}/{name}"
        return (stop.fault.finding(case, t=stop.inputs.get("t", stop.t)),)
