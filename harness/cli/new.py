"""`fullproof new`: a starter project that is attached from the start, and misses what is yours to write."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import click

from harness.attach.library.layout import HEADER
from harness.cli import exits
from harness.errors import InputError
from harness.report.console import console_for, line, paragraph

STARTERS = Path(__file__).resolve().parents[1] / "starters"
# Files whose names begin with a dot are kept under plain names, so that no tool takes them for its own.
PLACES = {
    "gitignore": ".gitignore",
    "workflow.yml": ".github/workflows/fullproof.yml",
    "pipeline.yml": ".gitlab-ci.yml",
}
FIRST = {"c": "make smoke", "python": "fullproof smoke py:controller.py:Controller"}
THEN = {"c": "make verify", "python": "fullproof verify py:controller.py:Controller"}


@click.command()
@click.argument("language", type=click.Choice(sorted(FIRST)))
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
def command(language: str, folder: Path) -> int:
    """Write a starter project in LANGUAGE into DIR, a folder that is new or empty.

    It is attached as it stands, so `smoke` passes; `verify` fails and says what is missing.
    """
    written = write(language, folder)
    console = console_for(sys.stdout)
    paragraph(console, f"Written into {folder}: {', '.join(written)}.")
    console.print()
    line(console, f"Next: cd {shlex.quote(str(folder))}")
    line(console, f"      {FIRST[language]}     # passes")
    line(console, f"      {THEN[language]}    # fails, and says what is missing")
    return exits.CONFORMS


def write(language: str, folder: Path) -> list[str]:
    """Write the files of a starter project; returns their names.

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
        content = {PLACES.get(name, name): text for name, text in _files(language).items()}
        for name, text in content.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(f"it cannot be written: {error.strerror}", file=folder) from error
    return sorted(content)


def _files(language: str) -> dict[str, str]:
    sources = [path for path in (STARTERS / language).iterdir() if path.is_file()]
    if language == "c":
        sources.append(HEADER)
    return {path.name: path.read_text(encoding="utf-8") for path in sources}
