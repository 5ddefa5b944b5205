"""`fullproof hunt`: generated traces without end, and the shortest ones that show what is wrong."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from harness.cli import exits
from harness.cli.bar import bar
from harness.cli.hunt_asked import Asked
from harness.cli.interruptible import INTERRUPTED
from harness.cli.judge_options import Finite, limit_option, role_option, tolerance_option
from harness.cli.outputs import for_people, refuse_unwritable, writing
from harness.cli.settings_options import (
    given_charger_settings,
    given_settings,
    is_given,
    settings_options,
)
from harness.errors import InputError
from harness.interruption import Listening
from harness.report.words import count
from harness.role import CHARGER, CONTROLLER

if TYPE_CHECKING:
    from ctrl.charger import ChargerSettings
    from ctrl.settings import Settings
    from harness.attach.base import Attached
    from harness.hunt.failure import Failure, Hunted
    from harness.hunt.reduce import Reduced
    from harness.report.hunted import HuntResult, Told
    from harness.report.known import Entry

# A trace of a charger takes longer: it has some ten times as many samples.
TRACES = {CONTROLLER: 2000, CHARGER: 500}
SHORTENED_S = 60.0
# After an interruption nobody wants to wait.
HURRIED_S = 3.0
PICTURES = (".png", ".svg")
# The bar moves by so many parts where the time is what is limited.
PARTS = 100
ANY_TRACES = "as many as fit into --seconds, or 2000 (of a charger: 500)"


@click.command()
@click.argument("controller")
@role_option
@click.option(
    "--traces", type=click.IntRange(min=1), metavar="N", help=f"Try so many; {ANY_TRACES}."
)
@click.option(
    "--seconds", type=Finite(0, min_open=True), metavar="S", help="Begin no trace after S seconds."
)
@click.option(
    "--worlds",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    metavar="N",
    help="Then put it into so many small banks in closed loop.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    metavar="N",
    help="Other traces; the same seed gives the same ones.",
)
@click.option(
    "--first",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    metavar="K",
    help="Begin with trace K of the seed.",
)
@settings_options
@click.option(
    "--select",
    "patterns",
    multiple=True,
    metavar="PATTERN",
    help="Look only for this requirement or group (HOLD). Can be repeated.",
)
@click.option("--save", "folder", metavar="FOLDER", help="Write each shortest trace as a vector.")
@click.option("--plot", metavar="FILE", help="Draw it: a .png or .svg, or a folder for several.")
@click.option("--json", "json_file", metavar="FILE", help="Write the result; - is stdout.")
@click.option("--junit", "junit_file", metavar="FILE", help="Write JUnit XML; - is stdout.")
@click.option("--known", "known_file", metavar="FILE", help="TOML list of known failures.")
@click.option(
    "--findings",
    "ways_each",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    metavar="N",
    help="How many ways of breaking one requirement are told in full.",
)
@tolerance_option
@limit_option
def command(
    controller: str,
    role: str,
    traces: int | None,
    seconds: float | None,
    worlds: int,
    seed: int,
    first: int,
    patterns: tuple[str, ...],
    folder: str | None,
    plot: str | None,
    json_file: str | None,
    junit_file: str | None,
    known_file: str | None,
    ways_each: int,
    tolerance_s: float,
    limit_s: float,
    settings_file: str | None,
    cells: int | None,
    changes: tuple[str, ...],
    chemistry: str | None,
) -> int:
    """Hunt for what CONTROLLER does wrong, with traces made to come near every decision.

    Each failure is shortened to the smallest trace that shows it. The first interruption ends the
    hunt and tells what it found; the next one ends the shortening. With --role charger CONTROLLER
    is a charger that listens to its packs.
    """
    from harness.cli.selection import selection
    from harness.report.catalogue import catalogue_of, groups_of
    from harness.report.console import console_for
    from harness.report.known import standings
    from harness.report.result import Result

    refuse_unwritable(json_file, junit_file)
    _refuse_unusable(folder, plot)
    told_settings = (settings_file, cells, changes, chemistry)
    settings = _settings(role, *told_settings) if is_given(*told_settings) else None
    if worlds and settings is not None:
        raise InputError(
            "--worlds draws settings of its own", hint="leave it out, or the options that set them"
        )
    chosen = selection(patterns, (), catalogue=catalogue_of(role), of_groups=tuple(groups_of(role)))
    known = _known(role, known_file)
    if traces is None and seconds is None:
        traces = TRACES[role]
    console = console_for(for_people(json_file, junit_file))
    asked = Asked(role, controller, seed, told_settings, tolerance_s, limit_s)

    # Here, so that a mistake in the options is told before anything slow is loaded.
    from harness.hunt.hunt import hunt
    from harness.report.hunt_terminal import show_hunt
    from harness.report.hunted import HuntResult, report_of

    with _attached(role, controller, limit_s) as attachment:
        _refuse_settings_of_fixed(attachment, settings)
        with Listening(_tell_hunting) as listening, _progress(traces, seconds) as progress:
            hunted = hunt(
                attachment,
                seed=seed,
                traces=traces,
                seconds=seconds,
                worlds=worlds,
                first=first,
                settings=settings,
                selected=chosen.judged,
                tolerance_s=tolerance_s,
                progress=progress,
                interrupted=lambda: listening.interrupted,
            )
        told = _shortened(attachment, asked, hunted, ways_each, folder)
    report = report_of(hunted, told, chosen.requirements)
    stopped = INTERRUPTED if hunted.interrupted else hunted.stopped
    # A hunt that ends by the clock, or early, cannot show that an entry is of no use.
    whole = not (patterns or stopped) and hunted.traces >= (traces or 1)
    result = Result(
        report=report,
        selection=patterns,
        stopped=stopped and f"{stopped}, after {count(hunted.traces, 'trace')}",
        known=standings(known, report, ran=("",) if whole else (), whole=False),
    )
    found = HuntResult(hunted, tuple(told), result)
    if plot:
        _draw(found, plot)
    _write(found, json_file, junit_file)
    show_hunt(console, found)
    return exits.INTERRUPTED if hunted.interrupted else result.exit_code


def _attached(role: str, name: str, limit_s: float) -> Attached:
    from harness.attach import attach

    if role == CONTROLLER:
        return attach(name, limit_s=limit_s)
    from harness.charger.attach import attach_charger

    return attach_charger(name, limit_s=limit_s)


def _settings(
    role: str,
    file: str | None,
    cells: int | None,
    changes: tuple[str, ...],
    chemistry: str | None,
) -> Settings | ChargerSettings:
    if role == CONTROLLER:
        return given_settings(file, cells, changes, chemistry)
    return given_charger_settings(file, cells, changes, chemistry, packs=1)


def _known(role: str, file: str | None) -> tuple[Entry, ...]:
    from harness.report.catalogue import catalogue_of
    from harness.report.known import read_known

    if file is None:
        return ()
    from harness.cli.side import side_of

    return read_known(file, [r.id for r in catalogue_of(role)], side_of(role).ids)


def _refuse_unusable(folder: str | None, plot: str | None) -> None:
    """Find out before the hunt whether its finds can be written and drawn."""
    if folder:
        _refuse_unusable_folder(folder)
    if plot:
        if Path(plot).suffix.lower() in PICTURES:
            refuse_unwritable(plot)
        elif Path(plot).suffix and not Path(plot).is_dir():
            raise InputError(
                f"is called {Path(plot).name!r}",
                file=plot,
                column="--plot",
                hint=f"it must end in {' or '.join(PICTURES)}, or be a folder",
            )
        else:
            _refuse_unusable_folder(plot)
        from harness.report.picture import refuse_without_library

        refuse_without_library()


def _refuse_unusable_folder(folder: str) -> None:
    path = Path(folder)
    if path.exists() and not path.is_dir():
        raise InputError("is no folder", file=folder, hint="name a folder to write into")
    if not path.exists() and not path.parent.is_dir():
        raise InputError("cannot be made: its parent folder does not exist", file=folder)


def _refuse_settings_of_fixed(
    attachment: Attached, settings: Settings | ChargerSettings | None
) -> None:
    from harness.attach import LinkFault

    if settings is None:
        return
    try:
        identity = attachment.hello()
    except LinkFault:
        # The hunt meets it again and makes it a failure.
        attachment.restart()
        return
    if identity.fixed is not None:
        raise InputError(
            f"the settings of {identity.name} are fixed", hint="leave out the options that set them"
        )


@contextmanager
def _progress(traces: int | None, seconds: float | None) -> Iterator[Callable[[int, int], None]]:
    """How far the hunt is: by traces where their number is limited, or else by time."""
    began_s = time.monotonic()
    parts = traces if traces is not None else PARTS
    with bar(parts) as advance:
        told = -1

        def progress(done: int, failures: int) -> None:
            nonlocal told
            elapsed_s = time.monotonic() - began_s
            at = done
            if traces is None and seconds is not None:
                at = min(int(PARTS * elapsed_s / seconds), PARTS)
            if at == told and failures == 0:
                return
            a_second = f"{done / elapsed_s:,.0f} a second" if elapsed_s > 0.5 else "starting"
            found = count(failures, "failure")
            while told < at:
                told += 1
                advance(f"{count(done, 'trace')}, {a_second}, {found} so far")

        yield progress


def _shortened(
    attachment: Attached,
    asked: Asked,
    hunted: Hunted,
    ways_each: int,
    folder: str | None,
) -> list[Told]:
    """Shorten the failures that are to be told, and save them."""
    from harness.hunt.shortest import can_be_shortened, shortest
    from harness.report.hunted import ranked

    chosen = ranked(hunted.failures, ways_each)
    told: list[Told] = []
    with Listening(_tell_shortening) as listening, bar(len(chosen)) as advance:
        for failure in chosen:
            advance(f"shortening what breaks {failure.key.requirement}")
            reduced = None
            if can_be_shortened(failure) and not listening.interrupted:
                reduced = shortest(
                    attachment,
                    failure,
                    settings_stay=is_given(*asked.settings),
                    tolerance_s=asked.tolerance_s,
                    seconds=HURRIED_S if hunted.interrupted else SHORTENED_S,
                    interrupted=lambda: listening.interrupted,
                )
            told.append(_told(failure, reduced, asked, folder, told))
    return told


def _told(
    failure: Failure, reduced: Reduced | None, asked: Asked, folder: str | None, before: list[Told]
) -> Told:
    from harness.report.hunted import Told

    again = "" if failure.case is None else asked.hunt(failure.number, failure.before)
    if folder is None or reduced is None or reduced.shown is None:
        return Told(failure, reduced, again)
    from harness.report.hunt_files import save_vector
    from harness.report.hunt_roles import hunt_told

    of_role = hunt_told(asked.role)
    name = failure.key.requirement
    number = 1 + sum(each.failure.key.requirement == name for each in before)
    try:
        vector = of_role.vector(failure, reduced.case, reduced.shown.finding, number=number)
        saved = str(save_vector(Path(folder), vector, of_role.files(vector)))
    except InputError as error:
        # What was found must still be told.
        return Told(failure, reduced, again, not_saved=str(error))
    return Told(failure, reduced, asked.replay(saved), saved=saved)


def _draw(found: HuntResult, plot: str) -> None:
    from harness.hunt.as_vector import slug
    from harness.report.hunt_files import picture_places
    from harness.report.hunt_roles import hunt_told

    draw = hunt_told(found.hunted.role).draw
    shown = [each for each in found.told if each.reduced and each.reduced.shown]
    names: list[str] = []
    for each in shown:
        of_it = [name for name in names if name.startswith(slug(each.failure))]
        names.append(slug(each.failure, 1 + len(of_it)))
    for each, place in zip(shown, picture_places(Path(plot), names), strict=True):
        place.parent.mkdir(exist_ok=True)
        assert each.case is not None
        draw(each.case, each.run, each.finding, place)


def _write(found: HuntResult, json_file: str | None, junit_file: str | None) -> None:
    if json_file:
        from harness.report.hunt_json import to_json

        with writing(json_file) as file:
            file.write(to_json(found))
    if junit_file:
        from harness.report.junit import to_junit

        with writing(junit_file) as file:
            file.write(to_junit(found.result))


def _tell_hunting() -> None:
    # What a class under test prints meanwhile is caught, and this must not be.
    text = "\nStopping after this trace; interrupt again to stop at once."
    click.echo(text, file=sys.__stderr__)


def _tell_shortening() -> None:
    text = "\nNo more shortening; interrupt again to stop at once."
    click.echo(text, file=sys.__stderr__)
