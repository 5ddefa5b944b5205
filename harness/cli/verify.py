"""`fullproof verify`: judge a controller by every vector, requirement by requirement."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import click

from harness.attach import Attachment, LinkFault, attach
from harness.cases import Vector, rendered_for, shipped
from harness.cli import exits
from harness.cli.bar import bar
from harness.cli.example import example
from harness.cli.forms import Forms, forms_options
from harness.cli.interruptible import FIRST_FINDING, INTERRUPTED, Interruptible, tell_interrupted
from harness.cli.judge_options import LIMIT_S, findings_option, limit_option, tolerance_option
from harness.cli.outputs import for_people, refuse_unwritable, writing
from harness.cli.selection import Selection, selection
from harness.cli.verify_log import is_log, log_options, refuse_log_options, verify_log
from harness.errors import InputError
from harness.report.again import again
from harness.report.baseline import changes_since
from harness.report.baseline_terminal import show_changes
from harness.report.console import console_for
from harness.report.environment import environment
from harness.report.keeping import Keeping
from harness.report.known import read_known, standings, to_toml
from harness.report.result import Result
from harness.report.store import read_result
from harness.report.terminal import show_result
from harness.rules import REQUIREMENTS
from harness.run import Case
from harness.verify import verify


@click.command()
@click.argument("controller", required=False)
@click.option(
    "--role",
    type=click.Choice(["controller", "charger"]),
    default="controller",
    show_default=True,
    help="What is under test: the controller of a pack, or what charges by its messages.",
)
@click.option(
    "--select",
    "patterns",
    multiple=True,
    metavar="PATTERN",
    help="Judge only this requirement, group (HOLD) or vector ('hold/*'). Can be repeated.",
)
@forms_options
@click.option("--fail-fast", is_flag=True, help="Stop at the first case with a finding.")
@click.option("--known", "known_file", metavar="FILE", help="TOML list of known failures.")
@click.option(
    "--baseline",
    "baseline_file",
    metavar="FILE",
    help="Tell only what changed since a stored result; fail only where something got worse.",
)
@click.option(
    "--write-known", "new_known_file", metavar="FILE", help="Write the failures as such a list."
)
@findings_option
@log_options
@tolerance_option
@limit_option
@click.option("--quiet", is_flag=True, help="Leave the table of requirements out.")
def command(
    controller: str | None,
    role: str,
    patterns: tuple[str, ...],
    html_file: str | None,
    json_file: str | None,
    junit_file: str | None,
    markdown_file: str | None,
    fail_fast: bool,
    known_file: str | None,
    baseline_file: str | None,
    new_known_file: str | None,
    findings_each: int,
    tolerance_s: float,
    limit_s: float,
    quiet: bool,
    **of_log: Any,
) -> int:
    """Judge CONTROLLER by the shipped vectors, requirement by requirement.

    Without CONTROLLER the example in C is compiled and judged, or, where there is no C compiler,
    the example in Python. With log:FILE no controller runs: what was recorded is judged.
    """
    forms = Forms(html_file, json_file, junit_file, markdown_file)
    refuse_unwritable(*forms.files, new_known_file)
    if role == "charger":
        # What only this role needs is loaded only for it.
        from harness.cli.verify_charger import refuse_for_charger, verify_role_charger

        of_controllers = {"--known": known_file, "--write-known": new_known_file}
        refuse_for_charger(forms, of_controllers | {"--baseline": baseline_file})
        refuse_log_options(**of_log)
        return verify_role_charger(
            controller,
            forms,
            patterns,
            fail_fast=fail_fast,
            tolerance_s=tolerance_s,
            limit_s=limit_s,
            findings_each=findings_each,
            table=not quiet,
        )
    before = _baseline(baseline_file, known_file)
    console = console_for(for_people(*forms.files, new_known_file))
    if controller is None:
        shown = example()
        controller = shown.spec
        console.print(f"No controller was named, so this is {shown.told}.\n")
    vectors = {vector.id: vector for vector in shipped()}
    chosen = selection(patterns, list(vectors))
    known = read_known(known_file, [r.id for r in REQUIREMENTS], vectors) if known_file else ()
    tried: list[str] = []
    interrupted = False
    if controller is not None and is_log(controller):
        keeping = Keeping(compared=False) if forms.need_samples else None
        report, tried = verify_log(
            controller,
            console,
            selected=chosen.judged,
            tolerance_s=tolerance_s,
            keeping=keeping,
            **of_log,
        )
        cases: list[Case] = []
    else:
        refuse_log_options(**of_log)
        keeping = Keeping() if forms.need_samples else None
        with attach(controller, limit_s=limit_s) as attachment:
            cases, left_out = _cases(attachment, chosen, vectors)
            with Interruptible(cases, tell_interrupted) as trials, bar(len(cases)) as advance:

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
                    keep=keeping,
                )
        interrupted = trials.interrupted
    stopped = ""
    if interrupted:
        stopped = INTERRUPTED
    elif fail_fast and len(tried) < len(cases):
        stopped = FIRST_FINDING
    whole = not patterns and not stopped
    result = Result(
        report=chosen.of(report),
        selection=patterns,
        stopped=stopped and f"{stopped}, after {len(tried)} of {len(cases)} cases",
        known=standings(known, report, ran=tried, whole=whole),
        tried=tuple(tried),
        limit_s=limit_s if limit_s != LIMIT_S else None,
        tolerance_s=tolerance_s,
        environment=environment(click.get_current_context().find_root().obj or ()),
        excerpts=tuple(keeping.excerpts) if keeping else (),
    )
    changes = None
    if before is not None:
        changes = changes_since(before, result, str(baseline_file))
    forms.write(result, changes)
    if new_known_file:
        with writing(new_known_file) as file:
            file.write(to_toml(report.findings, known))
    if changes is not None:
        show_changes(console, result, changes, findings_each=findings_each)
        return exits.INTERRUPTED if interrupted else changes.exit_code
    show_result(
        console,
        result,
        table=not quiet,
        findings_each=findings_each,
        again=lambda finding: again(result, finding),
    )
    return exits.INTERRUPTED if interrupted else result.exit_code


def _baseline(file: str | None, known_file: str | None) -> Result | None:
    """The result to compare with, read before anything runs."""
    if file is None:
        return None
    if known_file is not None:
        raise InputError(
            "--baseline and --known both say what is no news", hint="give one of the two"
        )
    return read_result(file)


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
