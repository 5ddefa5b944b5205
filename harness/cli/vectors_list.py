"""`fullproof vectors list`: every vector by name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click
import orjson

from harness.cli import exits
from harness.cli.judge_options import role_option
from harness.cli.outputs import refuse_unwritable, writing
from harness.cli.vectors_exercising import exercising, requirements_option
from harness.report.words import count


@click.command("list", short_help="Name every vector.")
@role_option
@requirements_option
@click.option("--json", "json_file", metavar="FILE", help="Write them as JSON; - is stdout.")
def command(role: str, requirements: tuple[str, ...], json_file: str | None) -> int:
    """Name every vector, one a line, with its title."""
    from harness.cli.vectors_side import vectors_side_of

    refuse_unwritable(json_file)
    found = exercising(vectors_side_of(role).shipped(), role, requirements)
    if json_file:
        with writing(json_file) as file:
            file.write(_json(found))
        return exits.CONFORMS
    width = max((len(each.id) for each in found), default=0)
    for each in found:
        forbids = any(name in each.negative for name in requirements)
        negative = " (must not happen)" if forbids else ""
        click.echo(f"{each.id:<{width}}  {each.title}{negative}")
    click.echo(count(len(found), "vector"), err=True)
    return exits.CONFORMS


def _json(found: Sequence[Any]) -> str:
    told = [
        {
            "id": each.id,
            "title": each.title,
            "why": each.why,
            "requirements": each.requirements,
            "negative": each.negative,
            "features": each.features,
            "tags": each.tags,
            "source": each.source,
            "samples": len(each.trace),
        }
        for each in found
    ]
    return orjson.dumps(told, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE).decode()
