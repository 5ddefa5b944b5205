"""`fullproof report`: any form of a result once more, from a stored one."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from harness.cli.forms import Forms, forms_options
from harness.cli.judge_options import findings_option
from harness.cli.outputs import STDOUT, for_people, refuse_unwritable
from harness.errors import InputError

if TYPE_CHECKING:
    from harness.report.result import Result


@click.command()
@click.argument("stored", metavar="FILE")
@forms_options
@click.option("--baseline", "baseline_file", metavar="FILE", help="Tell only what changed since.")
@findings_option
@click.option("--quiet", is_flag=True, help="Leave the table of requirements out.")
def command(
    stored: str,
    html_file: str | None,
    json_file: str | None,
    junit_file: str | None,
    markdown_file: str | None,
    baseline_file: str | None,
    findings_each: int,
    quiet: bool,
) -> int:
    """Tell again what FILE holds, a result that verify --json wrote; - is standard input.

    The exit code is that of the verdict, as verify gave it; with --baseline it is 1 where something
    got worse.
    """
    from harness.report.again import again
    from harness.report.baseline import changes_since
    from harness.report.baseline_terminal import show_changes
    from harness.report.console import console_for
    from harness.report.terminal import show_result

    forms = Forms(html_file, json_file, junit_file, markdown_file)
    refuse_unwritable(*forms.files)
    result = _read(stored)
    before = None if baseline_file is None else _read(baseline_file)
    changes = None if before is None else changes_since(before, result, str(baseline_file))
    forms.write(result, changes)
    console = console_for(for_people(*forms.files))
    if changes is not None:
        show_changes(console, result, changes, findings_each=findings_each)
        return changes.exit_code
    show_result(
        console,
        result,
        table=not quiet,
        findings_each=findings_each,
        again=lambda finding: again(result, finding),
    )
    return result.exit_code


def _read(file: str) -> Result:
    from harness.report.store import from_json, read_result

    if file == STDOUT:
        return from_json(sys.stdin.buffer.read(), "standard input")
    if Path(file).is_dir():
        raise InputError("is a folder", file=file, hint="name a result that verify --json wrote")
    return read_result(file)
