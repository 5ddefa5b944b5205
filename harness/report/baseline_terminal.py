"""What changed since a stored result, for people."""

from __future__ import annotations

from rich.console import Console

from harness.report.again import again
from harness.report.baseline import Changes
from harness.report.caution import CAUTION
from harness.report.console import paragraph
from harness.report.findings import show_findings
from harness.report.result import Result
from harness.report.summary import verdict, who
from harness.report.terminal import STYLES, by_subject, told_sum

INDENT = 2


def show_changes(console: Console, result: Result, changes: Changes, *, findings_each: int) -> None:
    """Tell the new findings in full and every other change in a line, the sum last.

    Args:
        console: where.
        result: the present result.
        changes: what is different from the stored one.
        findings_each: how many new findings about one requirement are told in full.
    """
    for each in result.report.results:
        new = [finding for finding in each.findings if changes.is_new(finding)]
        if new:
            show_findings(
                console,
                each.requirement,
                by_subject(tuple(new)),
                most=findings_each,
                again=lambda finding: again(result, finding),
            )
            console.print()
    for line in changes.lines:
        paragraph(console, line, indent=INDENT)
    console.print()
    told_sum(console, "controller", who(result))
    told_sum(console, "in all", verdict(result)[1])
    told_sum(console, "baseline", changes.called)
    told_sum(console, "verdict", changes.sentence, STYLES[changes.exit_code])
    paragraph(console, CAUTION, style="dim")
