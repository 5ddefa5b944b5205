"""One replayed trace, told: its timeline, and what it broke."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import compress
from typing import Any

import attrs
import orjson
from attrs import frozen
from rich.console import Console
from rich.text import Text

from harness.report.console import columns, line, paragraph, stage_text
from harness.report.findings import show_findings
from harness.report.timeline import Moment
from harness.report.words import changed_settings, count, number
from harness.role import CONTROLLER
from harness.run import Finding, Run
from harness.verdict import CaseVerdict

MOST_MOMENTS = 200
MOST_FINDINGS = 5
LABEL = 12


@frozen(eq=False)
class Replayed:
    """What came of one trace.

    Attributes:
        called: what the trace is called.
        run: the run.
        moments: its timeline.
        verdict: what the requirements say of it.
    """

    called: str
    run: Run
    moments: list[Moment]
    verdict: CaseVerdict


def show(console: Console, replayed: Replayed) -> None:
    """The timeline, then the findings, then one sentence."""
    show_heading(console, CONTROLLER, replayed.called, replayed.run)
    console.print()
    _show_moments(console, replayed)
    console.print()
    show_verdict(console, replayed.verdict)


def to_json(replayed: Replayed) -> str:
    """The timeline and the findings as JSON."""
    return document_of(CONTROLLER, replayed.run, replayed.moments, replayed.verdict)


def document_of(role: str, run: Any, moments: Sequence[Any], verdict: CaseVerdict) -> str:
    """The same for any role.

    Args:
        role: what ran.
        run: its run.
        moments: its timeline.
        verdict: what the requirements say of it.
    """
    document = {
        role: {
            "name": run.identity.name,
            "version": run.identity.version,
            "language": run.identity.language,
        },
        "trace": run.case.id,
        "samples": len(run.case.trace),
        "moments": [attrs.asdict(moment) for moment in moments],
        "exercised": dict(verdict.exercised),
        "findings": [attrs.asdict(finding) for finding in verdict.findings],
    }
    # A stamp that is missing is NaN here and null there.
    return orjson.dumps(document, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE).decode()


def show_verdict(console: Console, verdict: CaseVerdict) -> None:
    """The findings by requirement, then one sentence."""
    by_requirement: dict[str, list[Finding]] = {}
    for finding in verdict.findings:
        by_requirement.setdefault(finding.requirement, []).append(finding)
    for requirement_id, findings in by_requirement.items():
        show_findings(console, requirement_id, findings, most=MOST_FINDINGS)
        console.print()
    console.print(_summary(verdict, len(by_requirement)))


def show_heading(console: Console, role: str, called: str, run: Any) -> None:
    """Who ran, and what."""
    identity, stamps = run.identity, run.case.trace.t
    for label, text in (
        (role, identity.in_words),
        ("trace", called),
        ("samples", f"{len(stamps):,}, from {number(stamps[0])} s to {number(stamps[-1])} s"),
        ("settings", changed_settings(run.case.settings)),
    ):
        paragraph(console, text, indent=LABEL, first=label)


def _show_moments(console: Console, replayed: Replayed) -> None:
    heads = ["t in s", "expected", "stage", "SoC in %", "what happened"]
    shown = [True, replayed.run.case.expected is not None, True, True, True]
    shown[3] = replayed.run.answers.soc is not None
    rows = [
        list(
            compress(
                (
                    Text(number(moment.t)),
                    stage_text(moment.expected or ("" if moment.agrees else "-")),
                    _stage(moment),
                    Text("" if moment.soc is None else f"{100 * moment.soc:.3f}"),
                    _happened(moment),
                ),
                shown,
            )
        )
        for moment in replayed.moments[:MOST_MOMENTS]
    ]
    right = compress((True, False, False, True, False), shown)
    columns(console, list(compress(heads, shown)), rows, list(right))
    show_rest(console, len(replayed.moments))


def show_rest(console: Console, moments: int) -> None:
    """How many moments are left out, of so many."""
    if (rest := moments - MOST_MOMENTS) > 0:
        line(console, (f"and {rest:,} more; --json FILE writes all of them", "dim"))


def _stage(moment: Moment) -> Text:
    if moment.before in ("", moment.after):
        return stage_text(moment.after)
    return Text.assemble(moment.before, " -> ", stage_text(moment.after))


def _happened(moment: Moment) -> Text:
    text = Text(", ".join(moment.happened))
    if not moment.agrees:
        text.append(", " if text else "")
        text.append("was not expected" if moment.expected is None else "did not happen", "bold red")
    return text


def _summary(verdict: CaseVerdict, broken: int) -> Text:
    exercised = count(len(verdict.exercised), "requirement")
    if broken:
        return Text(f"{exercised} exercised, {broken} broken", style="bold red")
    return Text(f"{exercised} exercised, none broken", style="bold green")
