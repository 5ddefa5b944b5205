"""One replayed trace, told: its timeline, and what it broke."""

from __future__ import annotations

from itertools import compress

import attrs
import orjson
from attrs import frozen
from rich.console import Console
from rich.text import Text

from harness.report.console import columns, line, paragraph, stage_text
from harness.report.findings import show_findings
from harness.report.timeline import Moment
from harness.report.words import changed_settings, count, number
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
    _show_heading(console, replayed)
    console.print()
    _show_moments(console, replayed)
    console.print()
    by_requirement: dict[str, list[Finding]] = {}
    for finding in replayed.verdict.findings:
        by_requirement.setdefault(finding.requirement, []).append(finding)
    for requirement_id, findings in by_requirement.items():
        show_findings(console, requirement_id, findings, most=MOST_FINDINGS)
        console.print()
    console.print(_summary(replayed, len(by_requirement)))


def to_json(replayed: Replayed) -> str:
    """The timeline and the findings as JSON."""
    run = replayed.run
    document = {
        "controller": {
            "name": run.identity.name,
            "version": run.identity.version,
            "language": run.identity.language,
        },
        "trace": run.case.id,
        "samples": len(run.case.trace),
        "moments": [attrs.asdict(moment) for moment in replayed.moments],
        "exercised": dict(replayed.verdict.exercised),
        "findings": [attrs.asdict(finding) for finding in replayed.verdict.findings],
    }
    # A stamp that is missing is NaN here and null there.
    return orjson.dumps(document, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE).decode()


def _show_heading(console: Console, replayed: Replayed) -> None:
    run = replayed.run
    identity, stamps = run.identity, run.case.trace.t
    for label, text in (
        ("controller", f"{identity.name} {identity.version}, written in {identity.language}"),
        ("trace", replayed.called),
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
    if (rest := len(replayed.moments) - MOST_MOMENTS) > 0:
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


def _summary(replayed: Replayed, broken: int) -> Text:
    exercised = count(len(replayed.verdict.exercised), "requirement")
    if broken:
        return Text(f"{exercised} exercised, {broken} broken", style="bold red")
    return Text(f"{exercised} exercised, none broken", style="bold green")
