"""`fullproof smoke`: does the attachment work? Not a word about how the controller behaves."""

from __future__ import annotations

import shlex
import sys
from typing import TYPE_CHECKING

import click

from harness.cli import exits
from harness.cli.judge_options import limit_option, role_option
from harness.role import CONTROLLER

if TYPE_CHECKING:
    from harness.attach.smoke import Step

INDENT = 11
STYLES = {"ok": "green", "failed": "bold red", "not tried": "yellow"}


@click.command()
@click.argument("controller")
@role_option
@limit_option
def command(controller: str, role: str, limit_s: float) -> int:
    """Speak every message once to CONTROLLER, and say what is wrong with its answers.

    This tries how the controller is attached, not how it behaves: that is what verify is for.
    """
    from harness.attach.smoke import passed
    from harness.report.console import console_for, line, paragraph

    console = console_for(sys.stdout)
    steps = _steps(controller, role, limit_s)
    for step in steps:
        line(console, (step.outcome.ljust(INDENT), STYLES[step.outcome]), step.tried)
        if step.wrong:
            paragraph(console, step.wrong, indent=INDENT)
        if step.right:
            paragraph(console, f"What would be right: {step.right}.", indent=INDENT)
        paragraph(console, step.detail, indent=INDENT, style="dim")
    ok, failed = (sum(step.outcome == word for step in steps) for word in ("ok", "failed"))
    console.print()
    if passed(steps):
        text = f"The attachment works: {ok} of {len(steps)} steps were tried, none failed."
        paragraph(console, text)
        other = "" if role == CONTROLLER else f"--role {role} "
        line(console, f"Next: fullproof verify {other}{shlex.quote(controller)}")
        return exits.CONFORMS
    if not failed:
        paragraph(console, "Nothing could be tried.")
        return exits.NOT_JUDGED
    paragraph(console, f"The attachment does not work: {failed} of {len(steps)} steps failed.")
    return exits.DOES_NOT_CONFORM


def _steps(spec: str, role: str, limit_s: float) -> list[Step]:
    from harness.attach.smoke import smoke

    if role == CONTROLLER:
        return smoke(spec, limit_s=limit_s)
    # What only this role needs is loaded only for it.
    from harness.charger.smoke import charger_smoke

    return charger_smoke(spec, limit_s=limit_s)
