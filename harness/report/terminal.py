"""The result of `verify` for people: what was asked, what went wrong, and the sum of it last."""

from __future__ import annotations

from collections.abc import Callable
from itertools import groupby

from rich.console import Console

from harness.report.catalogue import any_requirement, groups_of
from harness.report.caution import CAUTION
from harness.report.console import OUTCOME_STYLES, line, paragraph
from harness.report.findings import show_findings
from harness.report.known import OUT_OF_DATE, State
from harness.report.result import Result
from harness.report.summary import (
    KNOWN_FAILURE,
    broken,
    by_reason,
    not_exercised,
    not_observable,
    outcome_word,
    outcomes,
    tried,
    verdict,
    who,
)
from harness.report.words import count, listed
from harness.run import Finding
from harness.verdict import RequirementResult

# Widths of the columns of the table, and the width from which a title stands in one of its own.
OUTCOME, ID, TITLE, LEVEL, NUMBER = 15, 27, 57, 6, 9
WIDE = 2 + OUTCOME + ID + TITLE + LEVEL + 2 * NUMBER
LABEL = 15
MOST_LEFT_OUT = 5
# Of what is not applicable: so many reasons, and so many cases to each.
MOST_REASONS = 5
MOST_EXAMPLES = 1
MOST_BROKEN = 12
STYLES = {0: "bold green", 1: "bold red", 3: "bold magenta"}


def show_result(
    console: Console,
    result: Result,
    *,
    table: bool,
    findings_each: int,
    again: Callable[[Finding], str],
) -> None:
    """Show everything, the sum of it last.

    Args:
        console: where.
        result: what came out.
        table: whether the table of requirements is shown.
        findings_each: how many findings about one requirement are told in full.
        again: the command that shows a finding again.
    """
    if table:
        _show_table(console, result)
    for each in result.report.results:
        if open_findings := result.unexcused(each):
            show_findings(
                console,
                each.requirement,
                by_subject(open_findings),
                most=findings_each,
                again=again,
            )
            console.print()
    _show_not_judged(console, result)
    show_known(console, result)
    _show_sum(console, result)


def _show_table(console: Console, result: Result) -> None:
    wide = console.width >= WIDE
    groups = groups_of(result.report.role)
    title = "title".ljust(TITLE) if wide else ""
    head = f"  {'outcome':<{OUTCOME}}{'requirement':<{ID}}{title}{'level':<{LEVEL}}"
    line(console, (f"{head}{'exercised':>{NUMBER}}{'cases':>{NUMBER}}", "dim"))
    for group, results in groupby(
        result.report.results, lambda r: any_requirement(r.requirement).group
    ):
        line(console, (group, "bold"), f"  {groups[group]}")
        for each in results:
            _show_row(console, result, each, wide=wide)
    console.print()


def _show_row(console: Console, result: Result, each: RequirementResult, *, wide: bool) -> None:
    asked = any_requirement(each.requirement)
    title = asked.title.ljust(TITLE) if wide else ""
    numbers = f"{each.exercised:>{NUMBER},}{len(each.cases):>{NUMBER},}"
    identified = f"{asked.id:<{ID}}{title}{asked.level:<{LEVEL}}"
    line(console, "  ", _outcome(result, each), identified, numbers)
    if not wide:
        line(console, " " * (2 + OUTCOME), (asked.title, "dim"))


def _outcome(result: Result, each: RequirementResult) -> tuple[str, str]:
    style = "yellow" if result.excused(each) else OUTCOME_STYLES[each.outcome]
    return outcome_word(result, each).ljust(OUTCOME), style


def _show_not_judged(console: Console, result: Result) -> None:
    report = result.report
    hidden = not_observable(result)
    for label, together, style in (
        ("not judged", by_reason(report.errors), "bold magenta"),
        ("not observable", hidden, "dim"),
    ):
        for reason, names in together.items():
            text = f"{label}: {listed(names, MOST_LEFT_OUT)}: {reason}"
            paragraph(console, text, style=style)
    _show_not_applicable(console, by_reason(report.not_applicable))
    if report.errors or report.not_applicable or hidden:
        console.print()


def _show_not_applicable(console: Console, together: dict[str, list[str]]) -> None:
    """The commonest reasons: all of them would push the findings out of sight."""
    ranked = sorted(together.items(), key=lambda told: -len(told[1]))
    for reason, names in ranked[:MOST_REASONS]:
        text = f"not applicable: {listed(names, MOST_EXAMPLES)}: {reason}"
        paragraph(console, text, style="dim")
    if rest := ranked[MOST_REASONS:]:
        cases = count(sum(len(names) for _, names in rest), "case")
        text = (
            f"not applicable: {cases} more, for {count(len(rest), 'other reason')}; --html has all"
        )
        paragraph(console, text, style="dim")


def show_known(console: Console, result: Result) -> None:
    """Say what the known failures come to, and what a verdict is worth."""
    together: dict[tuple[str, State, str], list[str]] = {}
    for standing in result.known:
        entry = standing.entry
        key = entry.requirement, standing.state, entry.reason
        together.setdefault(key, []).append(entry.vector or "every vector")
    for (name, state, reason), vectors in together.items():
        style = "bold red" if state in OUT_OF_DATE else "yellow"
        where = f"{name} in {listed(vectors, MOST_LEFT_OUT)}"
        paragraph(console, f"{KNOWN_FAILURE}: {where}: {state.value} ({reason})", style=style)
    if result.known:
        console.print()


def _show_sum(console: Console, result: Result) -> None:
    told_sum(console, result.report.role, who(result))
    line(console, "attached".ljust(LABEL), result.report.spec)
    told_sum(console, "tried", tried(result))
    if result.selection:
        told_sum(console, "selected", " ".join(result.selection))
    if result.stopped:
        told_sum(console, "stopped", result.stopped, "yellow")
    told_sum(console, "outcomes", outcomes(result))
    if failed := broken(result):
        told = [f"{each.requirement} ({len(result.unexcused(each))})" for each in failed]
        told_sum(console, "broken", listed(told, MOST_BROKEN), "red")
    if unknown := not_exercised(result):
        text = f"no case put it to the test: {listed(unknown, MOST_LEFT_OUT)}"
        told_sum(console, "not exercised", text, "yellow")
    looks_like, text = verdict(result)
    told_sum(console, "verdict", text, STYLES[looks_like])
    paragraph(console, CAUTION, style="dim")


def told_sum(console: Console, label: str, text: str, style: str = "") -> None:
    """One line of the sum, under its label."""
    paragraph(console, text, indent=LABEL, first=label, style=style)


def by_subject(findings: tuple[Finding, ...]) -> list[Finding]:
    """First those in vectors of the requirement's own group: they show it best."""
    return sorted(
        findings,
        key=lambda f: f.case.partition("/")[0].upper() != f.requirement.partition(".")[0],
    )
