"""`fullproof verify`: judge a controller, or a charger, by every case, requirement by requirement."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click
from attrs import frozen

from harness.cli import exits
from harness.cli.bar import bar
from harness.cli.forms import Forms, forms_options
from harness.cli.interruptible import FIRST_FINDING, INTERRUPTED, Interruptible, tell_interrupted
from harness.cli.judge_options import (
    LIMIT_S,
    findings_option,
    limit_option,
    role_option,
    tolerance_option,
)
from harness.cli.outputs import for_people, refuse_unwritable, writing
from harness.cli.settings_options import is_given
from harness.cli.verify_log import is_log, log_options, refuse_mapping, verify_log
from harness.errors import InputError
from harness.role import CONTROLLER

if TYPE_CHECKING:
    from harness.cli.selection import Selection
    from harness.cli.side import Side
    from harness.report.keeping import Keeping
    from harness.report.result import Result
    from harness.verdict import Report


@frozen
class _Tried:
    """What came of the cases.

    Attributes:
        report: the verdict.
        ids: ids of the cases that were tried, in order.
        stopped: why not all of them were; empty where they were.
        keeping: the samples around findings; None where nobody wants them.
    """

    report: Report
    ids: tuple[str, ...]
    stopped: str
    keeping: Keeping | None


@click.command()
@click.argument("controller", required=False)
@role_option
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
    the example in Python. With log:FILE no controller runs: what was recorded is judged. With
    settings, such as --chemistry lead_gel --cells 12, the vectors are written anew for these. With
    --role charger CONTROLLER is a charger that listens to its packs.
    """
    forms = Forms(html_file, json_file, junit_file, markdown_file)
    refuse_unwritable(*forms.files, new_known_file)
    # Here, so that help, and a file that cannot be written, do not wait for anything slow.
    from harness.cli.selection import selection
    from harness.cli.side import side_of
    from harness.report.again import again
    from harness.report.baseline import changes_since
    from harness.report.baseline_terminal import show_changes
    from harness.report.console import console_for
    from harness.report.environment import environment
    from harness.report.keeping import Keeping
    from harness.report.known import read_known, standings, to_toml
    from harness.report.result import Result
    from harness.report.terminal import show_result

    before = _baseline(baseline_file, known_file)
    console = console_for(for_people(*forms.files, new_known_file))
    side = side_of(role)
    if controller is None:
        shown = side.unnamed()
        controller = shown.spec
        console.print(f"No {role} was named, so this is {shown.told}.\n")
    chosen = selection(patterns, side.ids, catalogue=side.catalogue, of_groups=side.groups)
    known = read_known(known_file, [r.id for r in side.catalogue], side.ids) if known_file else ()
    if role == CONTROLLER and is_log(controller):
        keeping = Keeping(compared=False) if forms.need_samples else None
        report, packs = verify_log(
            controller,
            console,
            selected=chosen.judged,
            tolerance_s=tolerance_s,
            keeping=keeping,
            **of_log,
        )
        tried = _Tried(report, tuple(packs), "", keeping)
    else:
        refuse_mapping(of_log.pop("mapping_file"))
        given = side.settings(**of_log) if is_given(**of_log) else None
        tried = _tried(
            side,
            controller,
            chosen,
            given,
            keeping=Keeping(excerpts=side.excerpts) if forms.need_samples else None,
            fail_fast=fail_fast,
            tolerance_s=tolerance_s,
            limit_s=limit_s,
        )
    report = tried.report
    whole = not patterns and not tried.stopped
    result = Result(
        report=chosen.of(report),
        selection=patterns,
        stopped=tried.stopped,
        known=standings(known, report, ran=tried.ids, whole=whole),
        tried=tried.ids,
        limit_s=limit_s if limit_s != LIMIT_S else None,
        tolerance_s=tolerance_s,
        environment=environment(click.get_current_context().find_root().obj or ()),
        excerpts=tuple(tried.keeping.excerpts) if tried.keeping else (),
    )
    changes = None
    if before is not None:
        changes = changes_since(before, result, str(baseline_file))
    forms.write(result, changes)
    if new_known_file:
        with writing(new_known_file) as file:
            file.write(to_toml(report.findings, known))
    interrupted = tried.stopped.startswith(INTERRUPTED)
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


def _tried(
    side: Side,
    spec: str,
    chosen: Selection,
    given: Any,
    *,
    keeping: Keeping | None,
    fail_fast: bool,
    tolerance_s: float,
    limit_s: float,
) -> _Tried:
    """Attach what is under test, and try the chosen cases on it, under the settings given if any."""
    from harness.verify import verify_as

    begun: list[str] = []
    with side.attach(spec, limit_s=limit_s) as attachment:
        cases, left_out = side.cases(attachment, chosen.vectors, given)
        with Interruptible(cases, tell_interrupted) as trials, bar(len(cases)) as advance:

            def begin(case: Any) -> None:
                begun.append(case.id)
                advance(case.id)

            report = verify_as(
                side.role,
                attachment,
                trials,
                selected=chosen.judged,
                not_applicable=left_out,
                fail_fast=fail_fast,
                tolerance_s=tolerance_s,
                progress=begin,
                keep=keeping,
            )
    stopped = ""
    if trials.interrupted:
        stopped = INTERRUPTED
    elif fail_fast and len(begun) < len(cases):
        stopped = FIRST_FINDING
    if stopped:
        stopped += f", after {len(begun)} of {len(cases)} cases"
    return _Tried(report, tuple(begun), stopped, keeping)


def _baseline(file: str | None, known_file: str | None) -> Result | None:
    """The result to compare with, read before anything runs."""
    from harness.report.store import read_result

    if file is None:
        return None
    if known_file is not None:
        raise InputError(
            "--baseline and --known both say what is no news", hint="give one of the two"
        )
    return read_result(file)
