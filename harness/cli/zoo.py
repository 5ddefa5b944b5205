"""`fullproof zoo`: does the harness find every one of many faulty controllers?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING

import click

from ctrl.errors import nearest
from harness.cli import exits
from harness.cli.bar import bar
from harness.cli.judge_options import role_option
from harness.cli.outputs import for_people, refuse_unwritable, writing
from harness.errors import InputError
from harness.role import CHARGER

if TYPE_CHECKING:
    from harness.zoo.subject import Subject
    from harness.zoo.whole import Whole

SEEDS, TRACES = 10, 2000


@click.command()
@click.argument("pattern", required=False)
@role_option
@click.option(
    "--operator",
    "operators",
    multiple=True,
    metavar="NAME",
    help="Only what this mutation operator made. Can be repeated.",
)
@click.option(
    "--seeds",
    type=click.IntRange(min=1),
    default=SEEDS,
    show_default=True,
    metavar="N",
    help="How often each fault is hunted.",
)
@click.option(
    "--traces",
    type=click.IntRange(min=1),
    default=TRACES,
    show_default=True,
    metavar="N",
    help="How many traces a hunt may take.",
)
@click.option("--vectors-only", is_flag=True, help="Do not hunt.")
@click.option("--json", "json_file", metavar="FILE", help="Write the matrix; - is stdout.")
@click.option("--html", "html_file", metavar="FILE", help="Write a page of it.")
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    metavar="N",
    help="How many processes; by default one a core.",
)
def command(
    pattern: str | None,
    role: str,
    operators: tuple[str, ...],
    seeds: int,
    traces: int,
    vectors_only: bool,
    json_file: str | None,
    html_file: str | None,
    workers: int | None,
) -> int:
    """Try the vectors, then the hunt, on faulty controllers made systematically and by hand.

    With --role charger the faulty ones are chargers, all of them made by hand.

    Controllers that keep the rules, each in its own way, are judged as well: what is found in them
    is a false alarm. PATTERN picks some of the faulty ones by name, such as 'shift-entry-v-*', and
    leaves the others out. Exit code 0 says that the vectors find every one that can be found and
    that there was no false alarm, 1 that they miss one or that there was one.
    """
    from harness.report.console import console_for

    refuse_unwritable(json_file, html_file)
    from harness.report.zoo import show
    from harness.zoo.farm import WorkerDiedError

    try_them, work_to_do = _whole_of(role)
    chosen = _chosen(role, pattern, operators)
    everything = pattern is None and not operators
    hunts = () if vectors_only else tuple(range(seeds))
    try:
        with bar(work_to_do(chosen, hunts, listen=everything)) as advance:
            result = try_them(
                chosen,
                seeds=hunts,
                traces=0 if vectors_only else traces,
                listen=everything,
                told=advance,
                workers=workers,
            )
    except WorkerDiedError as error:
        click.echo(f"fullproof: {error}; nothing was judged", err=True)
        return exits.NOT_JUDGED
    code = _code(result)
    _write(result, code, json_file, html_file)
    show(console_for(for_people(json_file, html_file)), result, about_vectors=everything)
    return code


def _whole_of(role: str) -> tuple[Callable[..., Whole], Callable[..., int]]:
    """What tries the zoo of a role, and what says how much there is to do."""
    if role == CHARGER:
        from harness.zoo.charger import charger_whole, charger_work_to_do

        return charger_whole, charger_work_to_do
    from harness.zoo.whole import whole, work_to_do

    return whole, work_to_do


def _chosen(role: str, pattern: str | None, operators: Sequence[str]) -> tuple[Subject, ...]:
    """The faulty ones that are asked for.

    Raises:
        InputError: an operator that there is not, or nothing fits.
    """
    if role == CHARGER and operators:
        raise InputError(
            "--operator cannot be used with --role charger",
            hint="faulty chargers are made by hand; leave it out, or name them by a pattern",
        )
    from harness.zoo.mutants.operators import OPERATORS
    from harness.zoo.nearby import nearby

    every = _subjects(role)
    known = [operator.name for operator in OPERATORS]
    for name in operators:
        if name not in known:
            raise InputError(
                f"there is no operator {name!r}", column="--operator", hint=nearest(name, known)
            )
    chosen = [
        subject
        for subject in every
        if fnmatchcase(subject.name, pattern or "*")
        and (not operators or subject.operator.name in operators)
    ]
    if not chosen:
        made_by = f" of {', '.join(operators)}" if operators else ""
        raise InputError(
            f"no faulty {role}{made_by} fits {pattern!r}",
            hint=(nearest if role == CHARGER else nearby)(
                pattern or "", [subject.name for subject in every]
            ),
        )
    return tuple(chosen)


def _subjects(role: str) -> tuple[Subject, ...]:

    if role == CHARGER:
        from harness.zoo.charger import charger_subjects

        return charger_subjects()
    from harness.zoo.subject import subjects

    return subjects()


def _code(result: Whole) -> int:
    if not result.complete:
        return exits.INTERRUPTED
    wrong = bool(result.missed) or bool(result.refuted) or result.alarms > 0
    return exits.DOES_NOT_CONFORM if wrong else exits.CONFORMS


def _write(result: Whole, code: int, json_file: str | None, html_file: str | None) -> None:
    if json_file:
        from harness.report.zoo_json import to_json

        with writing(json_file) as file:
            file.write(to_json(result, code))
    if html_file:
        from harness.report.zoo_page import page

        with writing(html_file) as file:
            file.write(page(result))
