"""`fullproof study`: reset rules and bank policies compared over many simulated banks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from harness.cli import exits
from harness.cli.bar import counting_bar
from harness.cli.outputs import for_people, refuse_unwritable, writing
from harness.errors import InputError
from harness.report.words import count

if TYPE_CHECKING:
    from harness.study.running import Progress, Ran
    from harness.study.store import Folder
    from harness.study.study import Study
    from harness.study.table import Table

PAGE, TABLE = "study.html", "table.json"


@click.command()
@click.argument("study", required=False)
@click.option("--list", "list_them", is_flag=True, help="Name the shipped studies.")
@click.option(
    "--plan", is_flag=True, help="Check the study and tell what would be run; run nothing."
)
@click.option("--out", "out", metavar="FOLDER", help="Where rows and results go; else NAME-study.")
@click.option("--resume", is_flag=True, help="Go on with what is in the folder.")
@click.option("--banks", type=click.IntRange(min=1), metavar="N", help="Another number of banks.")
@click.option("--days", type=click.IntRange(min=1), metavar="N", help="Another number of days.")
@click.option("--seed", type=click.IntRange(min=0), metavar="N", help="Other random numbers.")
@click.option(
    "--workers", type=click.IntRange(min=1), metavar="N", help="Processes; else one for each core."
)
@click.option(
    "--dask", "address", metavar="ADDRESS", help="Run on a Dask cluster, as tcp://host:8786."
)
@click.option("--json", "json_file", metavar="FILE", help="Write the table as JSON; - is stdout.")
@click.option("--html", "html_file", metavar="FILE", help="Write the page here too; - is stdout.")
def command(
    study: str | None,
    list_them: bool,
    plan: bool,
    out: str | None,
    resume: bool,
    banks: int | None,
    days: int | None,
    seed: int | None,
    workers: int | None,
    address: str | None,
    json_file: str | None,
    html_file: str | None,
) -> int:
    """Compare reset rules and bank policies over many simulated banks, in pairs.

    STUDY is a TOML file, or the name of a shipped study. Every bank is run in every arm: a reset rule,
    a bank policy, a point of a grid of settings. Rows and results go to a folder: banks.parquet,
    table.json, estimates.parquet, comparisons.parquet, study.html. Exit code 3 says that some banks
    could not be run.
    """
    from harness.report.console import console_for

    if list_them:
        return _list_studies()
    if study is None:
        raise InputError("no study is named", hint="a file, or a name of fullproof study --list")
    if workers is not None and address is not None:
        raise InputError("--workers beside --dask", hint="the cluster has its own workers")
    refuse_unwritable(json_file, html_file)
    from harness.study.study_file import named

    chosen = named(study, banks=banks, days=days, seed=seed)
    console = console_for(for_people(json_file, html_file))
    if plan:
        from harness.report.study_plan import show_plan

        show_plan(console, chosen)
        return exits.CONFORMS
    folder = Path(out or f"{chosen.name}-study")
    ran, table = _run(chosen, folder, resume, workers, address)
    if table is None:
        said = "interrupted" if ran.interrupted else _all_failed(ran)
        click.echo(f"fullproof: {said}; {ran.how_to_go_on}", err=True)
        return exits.INTERRUPTED if ran.interrupted else exits.NOT_JUDGED
    _write(table, folder, json_file, html_file)
    from harness.report.study_terminal import show_study

    show_study(console, table)
    click.echo(f"written: {folder}", err=True)
    return exits.NOT_JUDGED if ran.failed else exits.CONFORMS


def _run(
    study: Study, path: Path, resume: bool, workers: int | None, address: str | None
) -> tuple[Ran, Table | None]:
    """Run what is missing, and put the table together; no table where there is nothing to tell.

    Raises:
        InputError: the folder cannot be used, or nobody is there to work.
    """
    from harness.study.run_study import run_study

    with counting_bar(study.items) as tell:

        def starting(folder: Folder) -> None:
            for what in folder.damaged:
                click.echo(f"fullproof: {path}: {what}; it is done again", err=True)
            if not folder.complete:
                tell(folder.done, "compiling; the first time this takes a minute or more")

        def progress(now: Progress) -> None:
            done = (now.kept + now.done) * study.banks_an_item
            failed = f", {count(now.failed, 'item')} failed" if now.failed else ""
            tell(now.kept + now.done, f"{min(done, study.banks):,} banks{failed}")

        return run_study(
            study, path, resume=resume, workers=workers, dask_address=address,
            before_compiling=starting, progress=progress,
        )  # fmt: skip


def _write(table: Table, folder: Path, json_file: str | None, html_file: str | None) -> None:
    from harness.report.study_json import to_json
    from harness.report.study_page import page
    from harness.study.table_file import write_parquet

    write_parquet(table, folder)
    texts: dict[str, Any] = {TABLE: to_json(table), PAGE: page(table)}
    for name, text in texts.items():
        with writing(str(folder / name)) as file:
            file.write(text)
    for place, text in ((json_file, texts[TABLE]), (html_file, texts[PAGE])):
        if place:
            with writing(place) as file:
                file.write(text)


def _all_failed(ran: Ran) -> str:
    item, reason = next(iter(ran.failed.items()))
    return f"no bank could be run; item {item}: {reason}"


def _list_studies() -> int:
    from harness.study.study_file import FOLDER, SUFFIX, shipped_names
    from harness.toml_file import read_toml

    width = max(map(len, shipped_names()))
    for name in shipped_names():
        title = read_toml(FOLDER / f"{name}{SUFFIX}", "")["title"]
        click.echo(f"{name:<{width}}  {title}")
    click.echo(count(len(shipped_names()), "study", "studies"), err=True)
    return exits.CONFORMS
