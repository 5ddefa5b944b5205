"""The result of `verify` for people: what was asked, what went wrong, and the sum of it last."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from itertools import groupby

from rich.console import Console

from harness.report.caution import CAUTION
from harness.report.console import OUTCOME_STYLES, line, paragraph
from harness.report.findings import show_findings
from harness.report.known import OUT_OF_DATE, State
from harness.report.result import Result
from harness.report.words import count, listed
from harness.rules import GROUPS, requirement
from harness.run import Finding, Outcome
from harness.verdict import RequirementResult

KNOWN_FAILURE = "known failure"
# Widths of the columns of the table, and the width from which a title stands in one of its own.
OUTCOME, ID, TITLE, LEVEL, NUMBER = 15, 27, 57, 6, 9
WIDE = 2 + OUTCOME + ID + TITLE + LEVEL + 2 * NUMBER
LABEL = 15
MOST_LEFT_OUT = 5
MOST_BROKEN = 12
OUTCOME_ORDER = (
    "fail",
    KNOWN_FAILURE,
    "error",
    "unknown",
    "pass",
    "not exercised",
    "not claimed",
)
VERDICTS = {
    0: ("conforms", "bold green"),
    1: ("does not conform", "bold red"),
    3: ("could not be judged", "bold magenta"),
}


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
                _by_subject(open_findings),
                most=findings_each,
                again=again,
            )
            console.print()
    _show_not_judged(console, result)
    show_known(console, result)
    _show_sum(console, result)


def _show_table(console: Console, result: Result) -> None:
    wide = console.width >= WIDE
    title = "title".ljust(TITLE) if wide else ""
    head = f"  {'outcome':<{OUTCOME}}{'requirement':<{ID}}{title}{'level':<{LEVEL}}"
    line(console, (f"{head}{'exercised':>{NUMBER}}{'cases':>{NUMBER}}", "dim"))
    for group, results in groupby(
        result.report.results, lambda r: requirement(r.requirement).group
    ):
        line(console, (group, "bold"), f"  {GROUPS[group]}")
        for each in results:
            _show_row(console, result, each, wide=wide)
    console.print()


def _show_row(console: Console, result: Result, each: RequirementResult, *, wide: bool) -> None:
    asked = requirement(each.requirement)
    title = asked.title.ljust(TITLE) if wide else ""
    numbers = f"{each.exercised:>{NUMBER},}{len(each.cases):>{NUMBER},}"
    identified = f"{asked.id:<{ID}}{title}{asked.level:<{LEVEL}}"
    line(console, "  ", _outcome(result, each), identified, numbers)
    if not wide:
        line(console, " " * (2 + OUTCOME), (asked.title, "dim"))


def _outcome(result: Result, each: RequirementResult) -> tuple[str, str]:
    if result.excused(each):
        return KNOWN_FAILURE.ljust(OUTCOME), "yellow"
    return each.outcome.value.ljust(OUTCOME), OUTCOME_STYLES[each.outcome]


def _show_not_judged(console: Console, result: Result) -> None:
    report = result.report
    for label, reasons, style in (
        ("not judged", report.errors, "bold magenta"),
        ("not applicable", report.not_applicable, "dim"),
    ):
        together: dict[str, list[str]] = {}
        for case, reason in reasons.items():
            together.setdefault(reason, []).append(case)
        for reason, cases in together.items():
            text = f"{label}: {listed(cases, MOST_LEFT_OUT)}: {reason}"
            paragraph(console, text, style=style)
    if report.errors or report.not_applicable:
        console.print()


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
    report = result.report
    who = "unknown, it never said who it is"
    if identity := report.identity:
        who = f"{identity.name} {identity.version}, written in {identity.language}"
    told_sum(console, "controller", who)
    line(console, "attached".ljust(LABEL), report.spec)
    cases = count(report.cases, "case")
    if report.not_applicable:
        cases += f", {len(report.not_applicable)} not applicable"
    if report.errors:
        cases += f", {len(report.errors)} not judged"
    told_sum(console, "tried", cases)
    if result.selection:
        told_sum(console, "selected", " ".join(result.selection))
    if result.stopped:
        told_sum(console, "stopped", result.stopped, "yellow")
    told_sum(console, "outcomes", outcomes(result))
    broken = [
        f"{each.requirement} ({len(found)})"
        for each in report.results
        if (found := result.unexcused(each))
    ]
    if broken:
        told_sum(console, "broken", listed(broken, MOST_BROKEN), "red")
    unknown = [r.requirement for r in report.results if r.outcome is Outcome.NOT_EXERCISED]
    if unknown and not result.selection and not result.stopped:
        text = f"no case put it to the test: {listed(unknown, MOST_LEFT_OUT)}"
        told_sum(console, "not exercised", text, "yellow")
    told_sum(console, "verdict", *_verdict(result, bool(broken)))
    paragraph(console, CAUTION, style="dim")


def told_sum(console: Console, label: str, text: str, style: str = "") -> None:
    """One line of the sum, under its label."""
    paragraph(console, text, indent=LABEL, first=label, style=style)


def _verdict(result: Result, broken: bool) -> tuple[str, str]:
    word, style = VERDICTS[result.exit_code]
    out_of_date = sum(standing.out_of_date for standing in result.known)
    if out_of_date:
        text = (
            f"the list of known failures is out of date ({count(out_of_date, 'entry', 'entries')})"
        )
        return f"{word if broken else VERDICTS[0][0]}, but {text}", VERDICTS[1][1]
    if result.exit_code == 0 and any(map(result.excused, result.report.results)):
        word += ", but for known failures"
    if result.exit_code == 0 and (result.selection or result.stopped):
        word += ", as far as it was tried"
    return word, style


def outcomes(result: Result) -> str:
    """How many requirements have which outcome."""
    words = Counter(
        KNOWN_FAILURE if result.excused(each) else each.outcome.value
        for each in result.report.results
    )
    told = ", ".join(f"{words[word]} {word}" for word in OUTCOME_ORDER if words[word])
    return f"{told}, of {count(len(result.report.results), 'requirement')}"


def _by_subject(findings: tuple[Finding, ...]) -> list[Finding]:
    """First those in vectors of the requirement's own group: they show it best."""
    return sorted(
        findings,
        key=lambda f: f.case.partition("/")[0].upper() != f.requirement.partition(".")[0],
    )
