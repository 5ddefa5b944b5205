"""The command `fullproof`: which commands there are, and how each of them ends.

A command's module is imported when the command is used, and holds its options; what does the work is
imported in its functions. All of it is too slow to load for a question such as `fullproof --help`.
"""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Sequence
from importlib import import_module

import click

from harness.cli import exits
from harness.version import VERSION

# Each is a module of this package with a click command of the name `command`.
COMMANDS = {
    "verify": "Judge a controller, requirement by requirement.",
    "hunt": "Hunt for the shortest trace that breaks a controller.",
    "replay": "Show what a controller does with one trace.",
    "simulate": "Run a simulated bank in closed loop with any controllers.",
    "pair": "Run controllers and a charger at once: do they fill every pack?",
    "study": "Compare reset rules and bank policies over many simulated banks.",
    "explain": "Tell why a pack was not called full, and what would help.",
    "zoo": "Show which faulty controllers the vectors and the hunt find.",
    "smoke": "Try how a controller is attached, not how it behaves.",
    "report": "Tell a stored result again, in any form.",
    "new": "Write a starter project, in C or Python, or an example log.",
    "vectors": "List, show, check and render the test vectors.",
    "settings": "Show the settings of a pack, and check a file of them.",
    "margins": "Show what keeps the settings of a pack apart, and what eats of it.",
}
EPILOG = (
    "A controller is named as ref (the reference), exec:'./program arguments' (a program that "
    "speaks the line protocol), lib:./libcontroller.so (a C library built with fullproof.h), "
    "py:module:Class or py:path/to/file.py:Class. "
    "Exit codes: 0 conforms, 1 does not conform, 2 wrong use or bad input, "
    "3 could not be judged, 130 interrupted."
)


class Commands(click.Group):
    """A group whose commands are found by name in `COMMANDS`."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  click's signature
        """The names of the commands, the most used first."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """The command of that name, or None."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"harness.cli.{cmd_name}").command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As in click, with a hint where there is no such command."""
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            from ctrl.errors import nearest

            hint = nearest(args[0], COMMANDS)
            raise click.UsageError(f"there is no command {args[0]!r}; {hint}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(
    cls=Commands,
    invoke_without_command=True,
    epilog=EPILOG,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.option("--version", is_flag=True, help="Show the version and exit.")
@click.pass_context
def fullproof(ctx: click.Context, version: bool) -> None:
    """Prove or disprove that a battery charge controller behaves."""
    if version:
        click.echo(f"fullproof {VERSION}")
        ctx.exit()
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def main(arguments: Sequence[str]) -> int:
    """Run one command line, without the program's name, and return its exit code.

    Whatever goes wrong is said in one sentence on standard error, never by a traceback; that comes
    only when the variable FULLPROOF_TRACEBACK is set.
    """
    try:
        result = fullproof.main(
            list(arguments), prog_name="fullproof", standalone_mode=False, obj=tuple(arguments)
        )
    except SystemExit as end:
        # click ends with 1 when nobody reads the output any more; here 1 is a verdict.
        return exits.READER_GONE if end.code == 1 else exits.WRONG_USE
    except (click.Abort, KeyboardInterrupt):
        _say("interrupted")
        return exits.INTERRUPTED
    except click.ClickException as error:
        _say(_usage_text(error))
        return exits.WRONG_USE
    except Exception as error:
        return _failed(error)
    return result if isinstance(result, int) else 0


def run() -> None:
    """The entry point of the installed command."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a character gets a substitute, not a crash.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    code = main(sys.argv[1:])
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        code = exits.READER_GONE
    except OSError as error:
        _say(f"the output could not be written: {error.strerror}")
        code = exits.NOT_JUDGED
    if code in (exits.READER_GONE, exits.NOT_JUDGED):
        # What is left in the buffer would be tried again, and complained about, at the very end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(code)


def _usage_text(error: click.ClickException) -> str:
    text = error.format_message()
    ctx = getattr(error, "ctx", None)
    if ctx is None:
        return text
    return f"{text}\n  {ctx.command_path} --help shows how it is used."


def _failed(error: Exception) -> int:
    if os.environ.get("FULLPROOF_TRACEBACK"):
        traceback.print_exception(error)
    from ctrl.errors import SettingsError
    from harness.attach.base import AttachError
    from harness.errors import InputError

    if isinstance(error, InputError | SettingsError | AttachError):
        _say(str(error))
        return exits.WRONG_USE
    if isinstance(error, OSError):
        _say(f"could not go on, and nothing was judged: {error}")
        return exits.NOT_JUDGED
    frames = traceback.extract_tb(error.__traceback__)
    place = f"{frames[-1].filename}:{frames[-1].lineno}" if frames else "an unknown place"
    _say(
        f"a fault of fullproof itself, nothing was judged: {type(error).__name__}: {error}\n"
        f"  It came from {place}; FULLPROOF_TRACEBACK=1 shows the way there."
    )
    return exits.NOT_JUDGED


def _say(text: str) -> None:
    click.echo(f"fullproof: {text}", err=True)


if __name__ == "__main__":
    run()
