"""Findings on the terminal: what went wrong, where, by how much, and how to see it again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import isfinite

from rich.console import Console

from harness.report.catalogue import any_requirement
from harness.report.console import line, paragraph
from harness.report.words import listed, number
from harness.run import Finding

DETAIL_LINES = 12
LINE_PARTS = (140, 60)
INDENT = 5
LABEL = INDENT + len("observed") + 2
MOST_CASES = 4


def no_command(_: Finding) -> str:
    """No command: the finding is in front of the user."""
    return ""


def show_findings(
    console: Console,
    requirement_id: str,
    findings: Sequence[Finding],
    *,
    most: int,
    again: Callable[[Finding], str] = no_command,
) -> None:
    """Tell what broke one requirement.

    Args:
        console: where.
        requirement_id: the requirement.
        findings: what was found about it, at least one.
        most: how many of the findings are told in full.
        again: the command that shows a finding again; empty for none.
    """
    asked = any_requirement(requirement_id)
    line(console, (asked.id, "bold red"), f" ({asked.level}): ", (asked.title, "bold"))
    paragraph(console, asked.statement, indent=2, style="dim")
    for place, finding in enumerate(findings[:most], start=1):
        console.print()
        _show(console, f"  {place}.", finding)
        if command := again(finding):
            line(console, " " * INDENT, "again".ljust(LABEL - INDENT), (command, "bold"))
    if rest := findings[most:]:
        cases = list(dict.fromkeys(finding.case for finding in rest))
        console.print()
        text = f"and {len(rest)} more, in {listed(cases, MOST_CASES)}"
        paragraph(console, text, indent=2)


def place_of(finding: Finding) -> str:
    """The case and the sample of a finding."""
    stamp = f" at t = {number(finding.t)} s" if isfinite(finding.t) else ""
    sample = f" (sample {finding.index})" if finding.index >= 0 else ""
    return f"{finding.case}{stamp}{sample}"


def _show(console: Console, place: str, finding: Finding) -> None:
    line(console, (place.ljust(INDENT), "bold"), (place_of(finding), "bold"))
    paragraph(console, finding.sentence, indent=INDENT)
    told = [("observed", finding.observed), ("expected", finding.expected)]
    if finding.unit:
        told.append(("margin", f"{finding.margin:.4g} {finding.unit}"))
    for label, text in told:
        paragraph(console, text, indent=LABEL, first=" " * INDENT + label)
    lines = [_shortened(detail_line) for detail_line in finding.detail.splitlines()]
    if len(lines) > DETAIL_LINES:
        left_out = len(lines) - DETAIL_LINES
        lines = [*lines[:DETAIL_LINES], f"[{left_out} more lines, in the stored result]"]
    paragraph(console, "\n".join(lines), indent=INDENT, style="dim")


def _shortened(text: str) -> str:
    """A line of a conversation without its middle, which is whole in the stored result."""
    first, last = LINE_PARTS
    return text if len(text) <= first + last else f"{text[:first]} … {text[-last:]}"
