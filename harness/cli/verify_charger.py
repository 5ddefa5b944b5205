"""`fullproof verify --role charger`: judge what charges by the messages of its packs."""

from __future__ import annotations

from collections.abc import Mapping

import click

from harness.charger.attach import FORMS, attach_charger
from harness.charger.case import ChargerCase
from harness.charger.cases import charger_cases
from harness.charger.rules import CHARGER_GROUPS, CHARGER_REQUIREMENTS
from harness.charger.verify import verify_charger
from harness.cli import exits
from harness.cli.bar import bar
from harness.cli.forms import Forms
from harness.cli.interruptible import FIRST_FINDING, INTERRUPTED, Interruptible, tell_interrupted
from harness.cli.judge_options import LIMIT_S
from harness.cli.outputs import for_people
from harness.cli.selection import selection
from harness.errors import InputError
from harness.report.again import again
from harness.report.console import console_for
from harness.report.environment import environment
from harness.report.result import Result
from harness.report.terminal import show_result


def refuse_for_charger(forms: Forms, options: Mapping[str, str | None]) -> None:
    """Refuse what is made for controllers.

    Args:
        forms: the files to write.
        options: the names of other options, and what they were given; None for nothing.

    Raises:
        InputError: one of them was given.
    """
    files = {"--html": forms.html_file, "--json": forms.json_file}
    given = [name for name, value in {**options, **files}.items() if value is not None]
    if given:
        raise InputError(
            f"{' and '.join(given)} cannot be used with --role charger",
            hint="what a charger did is told on the terminal, as --junit and as --markdown",
        )


def verify_role_charger(
    charger: str | None,
    forms: Forms,
    patterns: tuple[str, ...],
    *,
    fail_fast: bool,
    tolerance_s: float,
    limit_s: float,
    findings_each: int,
    table: bool,
) -> int:
    """Judge a charger by every case, tell it, and say how the command ends.

    Args:
        charger: how it is named on the command line.
        forms: the files to write.
        patterns: what was selected.
        fail_fast: stop at the first case with a finding.
        tolerance_s: declared tolerance of its clock, s.
        limit_s: the longest wait for one answer, s.
        findings_each: how many findings about one requirement are told in full.
        table: whether the table of requirements is shown.

    Raises:
        InputError: there is no such charger, or a pattern picks nothing.
    """
    if charger is None:
        raise InputError("no charger was named", hint=f"write {', or '.join(FORMS.values())}")
    known = {case.id: case for case in charger_cases()}
    chosen = selection(
        patterns, list(known), catalogue=CHARGER_REQUIREMENTS, of_groups=tuple(CHARGER_GROUPS)
    )
    cases = [known[name] for name in chosen.vectors]
    console = console_for(for_people(*forms.files))
    begun: list[str] = []
    with (
        attach_charger(charger, limit_s=limit_s) as attachment,
        Interruptible(cases, tell_interrupted) as trials,
        bar(len(cases)) as advance,
    ):

        def begin(case: ChargerCase) -> None:
            begun.append(case.id)
            advance(case.id)

        report = verify_charger(
            attachment,
            trials,
            selected=chosen.judged,
            fail_fast=fail_fast,
            tolerance_s=tolerance_s,
            progress=begin,
        )
    stopped = ""
    if trials.interrupted:
        stopped = INTERRUPTED
    elif fail_fast and len(begun) < len(cases):
        stopped = FIRST_FINDING
    result = Result(
        report=chosen.of(report),
        selection=patterns,
        stopped=stopped and f"{stopped}, after {len(begun)} of {len(cases)} cases",
        tried=tuple(begun),
        limit_s=limit_s if limit_s != LIMIT_S else None,
        tolerance_s=tolerance_s,
        environment=environment(click.get_current_context().find_root().obj or ()),
    )
    forms.write(result)
    show_result(
        console,
        result,
        table=table,
        findings_each=findings_each,
        again=lambda finding: again(result, finding),
    )
    return exits.INTERRUPTED if trials.interrupted else result.exit_code
