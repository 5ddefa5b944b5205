"""What a relation between several runs of one controller is, and when one does not apply."""

from __future__ import annotations

from collections.abc import Callable
from math import inf

from attrs import evolve, frozen

from harness.attach.base import Attachment, LinkFault, Refused
from harness.attach.drive import drive
from harness.hunt.changes import far_apart_s
from harness.hunt.denser import still_intervals
from harness.run import Case, Finding, Identity, Run

# Twelve days. Stamps farther away are not exact enough for a clock that counts milliseconds.
FAR_S = 2.0**20


@frozen(eq=False)
class Relation:
    """Something that holds between the runs of one controller.

    Attributes:
        name: stable slug.
        requirement: id of the requirement that it belongs to; what is found may be under another
            one, where the runs show which.
        statement: what must hold.
        reason: why it matters.
        source: where the idea comes from.
        limits: to what it does not apply, in words.
    """

    name: str
    requirement: str
    statement: str
    reason: str
    source: str
    limits: str
    _why_not: Callable[[Identity, Case], str]
    _broken: Callable[[Attachment, Run], Finding | None]

    def skipped(self, identity: Identity, case: Case) -> str:
        """Why it does not apply to a controller and a case; empty where it does."""
        lacking = sorted(case.features - identity.features)
        if case.power_cycles and "power_cycle" not in identity.features:
            lacking.append("power_cycle")
        if lacking:
            return f"the case needs {', '.join(lacking)}, which the controller does not claim"
        if identity.fixed is not None and identity.fixed != case.settings:
            return "the controller has fixed settings, other than those of the case"
        return self._why_not(identity, case)

    def check(
        self, attachment: Attachment, case: Case, *, run: Run | None = None
    ) -> Finding | None:
        """Run a case and what is made of it; a fault of the link in any of the runs is found, too.

        Args:
            attachment: the controller.
            case: what to try.
            run: what the controller answered to that very case, where it has been asked already.

        Returns:
            What is wrong; None where the relation holds or does not apply.
        """
        try:
            if self.skipped(attachment.hello(), case):
                return None
            return self._broken(attachment, drive(attachment, case) if run is None else run)
        except LinkFault as fault:
            if not isinstance(fault, Refused):
                attachment.restart()
            # The samples of a changed case are not those of the case.
            return evolve(fault.finding(case.id), index=-1)


def always(identity: Identity, case: Case) -> str:  # noqa: ARG001  one signature for all
    """It applies to every case."""
    return ""


def settable(identity: Identity, case: Case) -> str:  # noqa: ARG001  one signature for all
    """The settings must be settable."""
    return "" if identity.fixed is None else "the controller has fixed settings"


def resets_settable(identity: Identity, case: Case) -> str:
    """Full resets must be told, and the settings be settable."""
    return resets(identity, case) or settable(identity, case)


def resets(identity: Identity, case: Case) -> str:  # noqa: ARG001  one signature for all
    """Full resets must be told."""
    return "" if "full_reset" in identity.features else "the controller claims no full_reset"


def near_stamps(identity: Identity, case: Case) -> str:  # noqa: ARG001  one signature for all
    """Its stamps must lie near enough to each other to be shifted without rounding."""
    apart_s = far_apart_s(case.trace.t)
    if apart_s == inf:
        return "no sample has a time stamp"
    return f"its stamps lie more than {FAR_S:g} s apart" if apart_s > FAR_S else ""


def stands_still(identity: Identity, case: Case) -> str:  # noqa: ARG001  one signature for all
    """There must be an interval in which nothing moves."""
    return "" if still_intervals(case).any() else "its readings never stand still"
