"""`fullproof vectors render`: the vectors for settings of your own, or the shipped ones anew."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from harness.cli import exits
from harness.cli.judge_options import role_option
from harness.cli.settings_options import is_given, settings_options
from harness.cli.vectors_exercising import exercising, requirements_option
from harness.errors import InputError
from harness.report.words import count


@click.command("render", short_help="Write the vectors for settings of your own.")
@role_option
@settings_options
@requirements_option
@click.option("--shipped", is_flag=True, help="Write the shipped vectors again, in their place.")
@click.argument("folder", required=False)
def command(
    role: str, shipped: bool, folder: str | None, requirements: tuple[str, ...], **settings: Any
) -> int:
    """Write every vector into FOLDER, as JSON and as CSV, for settings of your own.

    What cannot be written for these settings is named, with the reason.
    """
    from harness.cli.vectors_side import vectors_side_of

    if shipped and (folder or requirements or is_given(**settings)):
        raise InputError("--shipped goes with no folder and no settings, and with no --requirement")
    side = vectors_side_of(role)
    if shipped:
        place = side.folder()
        changed = side.write(place)
        click.echo(f"{place}: {count(len(changed), 'file')} written, the others were up to date")
        return exits.CONFORMS
    if not folder:
        raise InputError("no folder was named", hint="name one to write into, or use --shipped")
    if Path(folder).exists() and not Path(folder).is_dir():
        raise InputError("is no folder", file=folder, hint="name a folder to write into")
    names = ("settings_file", "cells", "changes", "chemistry")
    options: Any = tuple(settings[name] for name in names)
    chosen = side.settings(options)
    if requirements:
        wanted = {each.id for each in exercising(side.shipped(), role, requirements)}
    vectors, reasons = side.rendered(chosen)
    if requirements:
        vectors = tuple(each for each in vectors if each.id in wanted)
        reasons = {name: reason for name, reason in reasons.items() if name in wanted}
    changed = side.write(folder, vectors)
    for name, reason in reasons.items():
        click.echo(f"not applicable: {name}: {reason}")
    told = f"{count(len(vectors), 'vector')}, {len(reasons)} not applicable"
    click.echo(f"{folder}: {told}; {count(len(changed), 'file')} written")
    if not vectors:
        raise InputError("no vector can be written for these settings")
    return exits.CONFORMS
