"""What pytest prints of a controller that does not conform."""

from __future__ import annotations

import io
import shlex
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console

from harness.cases import shipped
from harness.cli.judge_options import LIMIT_S
from harness.hunt.as_vector import as_vector
from harness.hunt.failure import Failure, Key
from harness.report.again import command_for
from harness.report.console import line, paragraph
from harness.report.findings import show_findings
from harness.report.hunt_files import save_vector
from harness.report.hunt_table import table_text
from harness.report.words import changed_settings
from harness.run import Case, Finding, Run

if TYPE_CHECKING:
    from harness.plugin.front import Front

WIDTH = 100


class NonConformant(Exception):  # noqa: N818  the controller's fault, no error of ours
    """A controller broke a requirement.

    Attributes:
        findings: how, at least one.
        case: what was tried; None where it was no trace.
        run: what was answered; None where the controller failed to.
    """

    def __init__(self, findings: Sequence[Finding], case: Case | None, run: Run | None) -> None:
        super().__init__(findings[0].sentence)
        self.findings = tuple(findings)
        self.case = case
        self.run = run


def told(failure: NonConformant, front: Front) -> str:
    """The failure as text: what is broken, the trace around it, and how to see it again."""
    out = io.StringIO()
    console = Console(file=out, width=WIDTH, color_system=None, highlight=False, markup=False)
    by_requirement: dict[str, list[Finding]] = {}
    for finding in failure.findings:
        by_requirement.setdefault(finding.requirement, []).append(finding)
    for name, findings in by_requirement.items():
        show_findings(console, name, findings, most=2)
        console.print()
    case = failure.case
    if case is None:
        return out.getvalue().rstrip()
    if failure.run is not None:
        for row in table_text(case, failure.run, failure.findings[0]):
            line(console, f"  {row}")
        console.print()
    paragraph(console, changed_settings(case.settings), indent=12, first="  settings")
    # Never broken: it is there to be copied.
    line(console, f"  again     {_again(failure, case, front)}")
    return out.getvalue().rstrip()


def _again(failure: NonConformant, case: Case, front: Front) -> str:
    options = f" --limit-s {front.limit_s:g}" if front.limit_s != LIMIT_S else ""
    options += f" --tolerance-s {front.tolerance_s:g}" if front.tolerance_s else ""
    controller = shlex.quote(front.controller)
    first = failure.findings[0]
    if any(case.id == vector.id for vector in shipped()):
        return command_for(front.controller, first, options)
    if front.save is None:
        return f"with --fullproof-save FOLDER the trace is kept as a vector for {first.requirement}"
    found = Failure(Key(first.requirement, ""), first, 0, case)
    place = save_vector(front.save, as_vector(found, case, first))
    return f"fullproof replay {controller} {shlex.quote(str(place))}{options}"
