"""Every faulty controller under one name: those written by hand, and those made systematically."""

from __future__ import annotations

import shlex
import sys
from functools import cache
from typing import Any

from attrs import field, frozen

from harness.attach import Attachment, attach
from harness.attach.python import PythonAttachment
from harness.zoo.build import python_controller
from harness.zoo.fault import Fault
from harness.zoo.faults import FAULTS
from harness.zoo.mutants import Mutant, mutants
from harness.zoo.mutants.attachment import MutantAttachment
from harness.zoo.mutants.breaks import RELATED, breaks_any
from harness.zoo.mutants.equivalents import Reason, reason
from harness.zoo.mutants.operators import BY_HAND, Operator

LIMIT_S = 10.0
_LINK = "LINK"


@frozen(eq=False)
class Subject:
    """A faulty controller, however it is made.

    Attributes:
        name: stable slug.
        operator: what made it.
        title: what it does, in a few words.
        about: the setting, the row of the table or the part of the rules that it concerns.
        breaks: ids or groups of the requirements that it breaks, or may break.
        also: others that a trace may show it to break, where `breaks` is what it was written for.
        reason: why it cannot be found; None where it can.
        made_from: the change by hand, or the mutant; of another role, whatever makes one.
    """

    name: str
    operator: Operator
    title: str
    about: str
    breaks: frozenset[str]
    also: frozenset[str]
    reason: Reason | None
    made_from: Any = field(repr=False)

    @property
    def by_hand(self) -> bool:
        """Whether it is a change of the example controller, not one of the reference."""
        return isinstance(self.made_from, Fault)

    @property
    def shows_on_traces(self) -> bool:
        """Whether a single run can show it: a fault of the link alone shows only in how it answers."""
        return not self.breaks or any(name.partition(".")[0] != _LINK for name in self.breaks)

    def is_right(self, requirement: str) -> bool:
        """Whether a requirement is one that it breaks."""
        return breaks_any(self.breaks, requirement)

    def may_break(self, requirement: str) -> bool:
        """Whether a requirement is one that it may be found in by a trace that nobody chose."""
        return self.is_right(requirement) or breaks_any(self.also, requirement)

    def attached(self) -> Attachment:
        """It, attached: in this process where that shows the fault."""
        if isinstance(self.made_from, Mutant):
            return MutantAttachment(self.made_from)
        fault: Fault = self.made_from
        return attached(fault)


def attached(fault: Fault | None) -> Attachment:
    """The Python example with a fault, or as it is; in process where that shows the fault."""
    if fault is not None and fault.in_messages:
        return attach(f"exec:{shlex.quote(sys.executable)} -m harness.zoo {fault.name}")
    name = "example" if fault is None else fault.name
    return PythonAttachment(f"zoo:{name}", python_controller(fault), LIMIT_S)


def of_fault(fault: Fault) -> Subject:
    """A change written by hand as one of the zoo."""
    group, _, _ = fault.requirement.partition(".")
    return Subject(
        name=fault.name,
        operator=BY_HAND,
        title=fault.title,
        about=group,
        breaks=frozenset({fault.requirement}),
        also=RELATED[group],
        reason=None,
        made_from=fault,
    )


def of_mutant(mutant: Mutant) -> Subject:
    """A mutant as one of the zoo."""
    return Subject(
        name=mutant.name,
        operator=mutant.operator,
        title=mutant.title,
        about=mutant.subject,
        breaks=mutant.breaks,
        also=frozenset(),
        reason=reason(mutant),
        made_from=mutant,
    )


@cache
def subjects() -> tuple[Subject, ...]:
    """All of them: first those made systematically, then those written by hand in Python."""
    return (*map(of_mutant, mutants()), *map(of_fault, FAULTS))
