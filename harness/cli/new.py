"""`fullproof new`: a starter project that misses what is yours to write, or a log to try `explain` on."""

from __future__ import annotations

import gzip
import shlex
import sys
from pathlib import Path

import click

from harness.cli import exits
from harness.cli.judge_options import role_option
from harness.errors import InputError
from harness.role import CONTROLLER

STARTERS = Path(__file__).resolve().parents[1] / "starters"
# Files whose names begin with a dot are kept under plain names, so that no tool takes them for its own.
PLACES = {
    "gitignore": ".gitignore",
    "workflow.yml": ".github/workflows/fullproof.yml",
    "pipeline.yml": ".gitlab-ci.yml",
}
LANGUAGES = ("c", "python")
LOG = "log"


@click.command()
@click.argument("what", type=click.Choice((*LANGUAGES, LOG)))
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@role_option
def command(what: str, folder: Path, role: str) -> int:
    """Write a starter project in C or Python, or an example log, into DIR, a folder that is new or empty.

    A project is attached as it stands, so `smoke` passes; `verify` fails and says what is missing. The
    log is that of a day at a mountain hut, in the form that a logger gives it, to try `explain` on.
    """
    from harness.report.console import console_for, line, paragraph

    if what == LOG and role != CONTROLLER:
        raise InputError(f"--role {role} goes with c and python", hint=f"a {LOG} has no role")
    written = write(what, folder, role)
    console = console_for(sys.stdout)
    paragraph(console, f"Written into {folder}: {', '.join(written)}.")
    console.print()
    line(console, f"Next: cd {shlex.quote(str(folder))}")
    if what == LOG:
        line(console, f"      fullproof explain {written[0]} --write-mapping mapping.toml")
        return exits.CONFORMS
    first, then = _next(what, role)
    line(console, f"      {first}     # passes")
    line(console, f"      {then}    # fails, and says what is missing")
    return exits.CONFORMS


def _next(language: str, role: str) -> tuple[str, str]:
    """The commands that try it."""
    if language == "c":
        return "make smoke", "make verify"
    spec = f"py:{role}.py:{role.title()}"
    named = spec if role == CONTROLLER else f"--role {role} {spec}"
    return f"fullproof smoke {named}", f"fullproof verify {named}"


def write(what: str, folder: Path, role: str = CONTROLLER) -> list[str]:
    """Write the files of a starter project, or the log; returns their names.

    Raises:
        InputError: there is something in the way, or the folder cannot be written.
    """
    if folder.exists() and not folder.is_dir():
        raise InputError("it is a file", file=folder, hint="name a folder that is new or empty")
    try:
        there = sorted(entry.name for entry in folder.iterdir()) if folder.is_dir() else []
        if there:
            raise InputError(
                f"the folder is not empty: it has {there[0]}",
                file=folder,
                hint="name a folder that is new or empty",
            )
        content = {PLACES.get(name, name): text for name, text in _files(what, role).items()}
        for name, text in content.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(f"it cannot be written: {error.strerror}", file=folder) from error
    return sorted(content)


def _files(language: str, role: str) -> dict[str, str]:
    if language == LOG:
        packed = sorted((STARTERS / LOG).glob("*.gz"))
        return {path.stem: gzip.decompress(path.read_bytes()).decode() for path in packed}
    from harness.attach.library.layout import HEADER

    folders = [STARTERS / language]
    if role != CONTROLLER:
        # What is not about the role is the same.
        folders.append(STARTERS / role / language)
    sources = {path.name: path for folder in folders for path in folder.iterdir() if path.is_file()}
    if role != CONTROLLER:
        sources = {name: path for name, path in sources.items() if path.stem != CONTROLLER}
    if language == "c":
        sources[HEADER.name] = HEADER
    return {name: path.read_text(encoding="utf-8") for name, path in sources.items()}
