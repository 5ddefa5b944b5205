"""`fullproof vectors`: the test vectors, listed, shown, checked, and rendered for other settings."""

from __future__ import annotations

import click

from harness.cli import vectors_check, vectors_list, vectors_render, vectors_show


@click.group(invoke_without_command=True)
@click.pass_context
def command(ctx: click.Context) -> None:
    """List, show, check and render the test vectors."""
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


for module in (vectors_list, vectors_show, vectors_check, vectors_render):
    command.add_command(module.command)
