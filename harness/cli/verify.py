"""`fullproof verify`: judge a controller by every vector, requirement by requirement."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Mapping

import click

from harness.attach import Attachment, LinkFault, attach
from harness.cases import Vector, rendered_for, shipped
from harness.cli import exits
from harness.cli.bar import bar
from harness.cli.example import example
from harness.cli.interruptible import Interruptible
from harness.cli.judge_options import LIMIT_S, limit_option, tolerance_option
from harness.cli.outputs import for_people, refuse_unwritable, writing
from harness.cli.selection import ALWAYS_JUDGED, Selection, selection
from harness.report.console import console_for
from harness.report.junit import to_junit
from harness.report.known import Entry, read_known, standings, to_toml
from harness.report.result import Result
from harness.report.store import to_json
from harness.report.terminal import show_result
from harness.rules import REQUIREMENTS, requirement
from harness.run import Case, Finding
from harness.verify import verify

INTERRUPTED = "interrupted by the user"
FIRST_FINDING = "at the first finding, as asked"


@click.command()
@click.argument("controller", required=False)
@click.option(
    "--select",
    "patterns",
    multiple=True,
    metavar="PATTERN",
    help="Judge only this requirement, group (HOLD) or vector ('hold/*'). Can be repeated.",
)
@click.option("--json", "json_file", metavar="FILE", help="Write the result; - is stdout.")
@click.option("--junit", "junit_file", metavar="FILE", help="Write JUnit XML; - is stdout.")
@click.option("--fail-fast", is_flag=True, help="Stop at the first case with a finding.")
@click.option("--known", "known_file", metavar="FILE", help="TOML list of known failures.")
@click.option(
    "--write-known", "new_known_file", metavar="FILE", help="Write the failures as such a list."
)
@click.option(
    "--findings",
    "findings_each",
    type=click.IntRange(min=1),
    default=3,
    show_default=True,
    metavar="N",
    help="How many findings about one requirement are told in full.",
)
@tolerance_option
@limit_option
@click.option("--quiet", is_flag=True, help="Leave the table of requirements out.")
def command(
    controller: str | None,
    patterns: tuple[str, ...],
    json_file: str | None,
    junit_file: str | None,
    fail_fast: bool,
    known_file: str | None,
    new_known_file: str | None,
    findings_each: int,
    tolerance_s: float,
    limit_s: float,
    quiet: bool,
) -> int:
    """Judge CONTROLLER by the shipped vectors, requirement by requirement.

    Without CONTROLLER the example in C is compiled and judged, or, where there is no C compiler,
    the example in Python.
    """
    refuse_unwritable(json_file, junit_file, new_known_file)
    console = console_for(for_people(json_file, junit_file, new_known_file))
    if controller is None:
        shown = example()
        controller = shown.spec
        console.print(f"No controller was named, so this is {shown.told}.\n")
    vectors = {vector.id: vector for vector in shipped()}
    chosen = selection(patterns, list(vectors))
    known = read_known(known_file, [r.id for r in REQUIREMENTS], vectors) if known_file else ()
    tried: list[str] = []
    with attach(controller, limit_s=limit_s) as attachment:
        cases, left_out = _cases(attachment, chosen, vectors)
        with Interruptible(cases, _tell_interrupted) as trials, bar(len(cases)) as advance:

            def begin(case: Case) -> None:
                tried.append(case.id)
                advance(case.id)

            report = verify(
                attachment,
                trials,
                selected=chosen.judged,
                not_applicable=left_out,
                fail_fast=fail_fast,
                tolerance_s=tolerance_s,
                progress=begin,
            )
    stopped = ""
    if trials.interrupted:
        stopped = INTERRUPTED
    elif fail_fast and len(tried) < len(cases):
        stopped = FIRST_FINDING
    whole = not patterns and not stopped
    result = Result(
        report=chosen.of(report),
        selection=patterns,
        stopped=stopped and f"{stopped}, after {len(tried)} of {len(cases)} cases",
        known=standings(known, report, ran=tried, whole=whole),
    )
    _write(result, known, json_file, junit_file, new_known_file)
    show_result(
        console,
        result,
        table=not quiet,
        findings_each=findings_each,
        again=_again(controller, limit_s, tolerance_s),
    )
    return exits.INTERRUPTED if trials.interrupted else result.exit_code


def _cases(
    attachment: Attachment, chosen: Selection, vectors: Mapping[str, Vector]
) -> tuple[list[Case], dict[str, str]]:
    """What to try, and why each of the others cannot be."""
    try:
        fixed = attachment.hello().fixed
    except LinkFault:
        # `verify` meets it again and makes it a finding.
        attachment.restart()
        fixed = None
    if fixed is None:
        return [vectors[name].case for name in chosen.vectors], {}
    rendered, reasons = rendered_for(fixed)
    return (
        [each.case for each in rendered if each.id in chosen.vectors],
        {name: reason for name, reason in reasons.items() if name in chosen.vectors},
    )


def _tell_interrupted() -> None:
    # What a class under test prints meanwhile is caught, and this must not be.
    text = "\nStopping after this case; interrupt again to stop at once."
    click.echo(text, file=sys.__stderr__)


def _write(
    result: Result,
    known: tuple[Entry, ...],
    json_file: str | None,
    junit_file: str | None,
    new_known_file: str | None,
) -> None:
    if json_file:
        with writing(json_file) as file:
            file.write(to_json(result))
    if junit_file:
        with writing(junit_file) as file:
            file.write(to_junit(result))
    if new_known_file:
        text = to_toml(result.report.findings, known)
        with writing(new_known_file) as file:
            file.write(text)


def _again(controller: str, limit_s: float, tolerance_s: float) -> Callable[[Finding], str]:
    """The command that shows a finding again."""
    options = f" --limit-s {limit_s:g}" if limit_s != LIMIT_S else ""
    options += f" --tolerance-s {tolerance_s:g}" if tolerance_s else ""
    name = shlex.quote(controller)

    def command_for(finding: Finding) -> str:
        if requirement(finding.requirement).group == ALWAYS_JUDGED:
            # Part of this group shows only when a case runs a second time, or ends.
            return f"fullproof verify {name} --select {finding.case}{options}"
        return f"fullproof replay {name} {finding.case}{options}"

    return command_for
