"""`fullproof pair`: controllers and a charger at once: do they fill every pack?"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from harness.cli import exits
from harness.cli.closed_loop import (
    REFERENCE,
    controller_specs,
    given_run,
    judged_packs,
    refuse_unpaintable,
    refuse_unwritable_folder,
    tell_written,
    told_progress,
)
from harness.cli.judge_options import Finite, limit_option, tolerance_option
from harness.cli.outputs import for_people, refuse_unwritable, writing
from harness.cli.settings_options import assignment
from harness.errors import InputError

# Some minutes for programs that answer fast; more is asked for by its length.
MOST_SAMPLES = 1_000_000

if TYPE_CHECKING:
    from ctrl.charger import ChargerSettings
    from harness.report.paired import Crossed, Paired
    from harness.world.result import Result
    from harness.world.scenario import Scenario


@click.command()
@click.argument("scenario")
@click.option(
    "--controller",
    "controllers",
    multiple=True,
    metavar="[PACK=]SPEC",
    help="The controller of every pack, or of one (by name, or number from 1). Can be repeated; "
    "the reference where none is named.",
)
@click.option(
    "--charger",
    "charger_spec",
    default=REFERENCE,
    show_default=True,
    metavar="SPEC",
    help="The charger: ref, py:file.py:Class, exec:./program, or lib:./libcharger.so.",
)
@click.option(
    "--charger-set",
    "charger_changes",
    multiple=True,
    metavar="NAME=VALUE",
    help="Change one setting of the charger; without, they fit the scenario. Can be repeated.",
)
@click.option("--alone", is_flag=True, help="Do not try the reference in place of either side.")
@click.option("--plot", "plot_file", metavar="FILE", help="Draw the run: a .png or a .svg.")
@click.option("--csv", "csv_folder", metavar="FOLDER", help="Write readings and true values.")
@click.option("--json", "json_file", metavar="FILE", help="Write what came of it; - is stdout.")
@click.option("--until", "hours", type=Finite(0, min_open=True), metavar="HOURS", help="Stop then.")
@click.option("--seed", type=click.IntRange(min=0), metavar="N", help="Other random numbers.")
@tolerance_option
@limit_option
def command(
    scenario: str,
    controllers: tuple[str, ...],
    charger_spec: str,
    charger_changes: tuple[str, ...],
    alone: bool,
    plot_file: str | None,
    csv_folder: str | None,
    json_file: str | None,
    hours: float | None,
    seed: int | None,
    tolerance_s: float,
    limit_s: float,
) -> int:
    """Run SCENARIO with controllers and a charger under test: does this pair fill every pack?

    Where it does not, the same is run with the reference in place of either side, to see who is to
    blame. Exit code 0 says that every pack was filled and no requirement broken, 1 that it was not
    so; 3, that the physics could not go on.
    """
    from harness.attach import LinkFault
    from harness.report.console import console_for
    from harness.report.findings import show_findings

    refuse_unwritable(json_file, plot_file)
    refuse_unwritable_folder(csv_folder)
    if plot_file:
        refuse_unpaintable(plot_file)
    asked, _ = given_run(scenario, hours=hours, seed=seed)
    if hours is None:
        _refuse_endless(asked)
    specs = controller_specs(controllers, [branch.name for branch in asked.world.packs])
    console = console_for(for_people(json_file))

    # Here, so that a mistake on the command line is told before anything slow is loaded.
    from harness.report.pair_terminal import show_pair
    from harness.world.fitting_charger import fitting_charger

    settings = fitting_charger(asked.world, **_changes(charger_changes))
    try:
        result = _run(asked, specs, charger_spec, settings, limit_s)
    except LinkFault as fault:
        show_findings(console, fault.requirement, [fault.finding(asked.name)], most=1)
        return exits.DOES_NOT_CONFORM
    paired = _judged(asked, specs, charger_spec, result, tolerance_s)
    if not (paired.fills_all or alone):
        import attrs

        crossed = _crossed(paired, settings, limit_s)
        paired = attrs.evolve(paired, crossed=crossed)
    show_pair(console, paired)
    code = exits.CONFORMS
    if paired.failed_physics:
        code = exits.NOT_JUDGED
    elif paired.findings or not paired.fills_all:
        code = exits.DOES_NOT_CONFORM
    if json_file:
        from harness.report.pair_json import pair_json

        with writing(json_file) as file:
            file.write(pair_json(paired, code))
    written = []
    if csv_folder:
        from harness.report.pair_files import write_pair_csv

        written += write_pair_csv(result, Path(csv_folder))
    if plot_file:
        from harness.report.pair_picture import draw_pair

        draw_pair(paired, Path(plot_file))
        written.append(Path(plot_file))
    tell_written(written)
    return code


def _changes(assignments: Sequence[str]) -> dict[str, Any]:
    """The settings of the charger that were changed, by name.

    Raises:
        InputError: it is no assignment, or there is no such setting.
    """
    from ctrl.charger import CHARGER_SETTING_NAMES

    changes = dict(
        assignment(each, CHARGER_SETTING_NAMES, option="--charger-set", example="sense_time_s=120")
        for each in assignments
    )
    if "packs" in changes:
        raise InputError(
            "--charger-set packs: how many packs there are is the scenario's to say",
            hint="leave it out",
        )
    return changes


def _refuse_endless(scenario: Scenario) -> None:
    """Refuse what would take hours, unless it is asked for by its length; raises `InputError`."""
    world = scenario.world
    asked = sum(world.duration_s / branch.meter.interval_s for branch in world.packs)
    asked += world.duration_s / world.charger.interval_s
    if asked > MOST_SAMPLES:
        whole_h = world.duration_s / 3600.0
        raise InputError(
            f"{scenario.name} runs for {whole_h:g} h: {asked:,.0f} samples, one by one, up to four times",
            column="--until",
            hint=f"--until 24 runs a day of it; --until {whole_h:g} runs it whole",
        )


def _run(
    scenario: Scenario,
    specs: Sequence[str],
    charger_spec: str,
    settings: ChargerSettings,
    limit_s: float,
) -> Result:
    """Run it with all of them attached; raises `LinkFault` where one would not start."""
    from harness.attach import attach
    from harness.charger.attach import attach_charger
    from harness.world.loop import simulate

    with ExitStack() as stack, told_progress(scenario) as progress:
        attachments = [stack.enter_context(attach(spec, limit_s=limit_s)) for spec in specs]
        charger = stack.enter_context(attach_charger(charger_spec, limit_s=limit_s))
        return simulate(
            scenario.world,
            attachments,
            charger=charger,
            charger_settings=settings,
            progress=progress,
        )


def _judged(
    scenario: Scenario,
    specs: tuple[str, ...],
    charger_spec: str,
    result: Result,
    tolerance_s: float,
) -> Paired:
    """What is to be said of a run, without what the reference makes of it."""
    from harness.charger.judge import judge_charger
    from harness.report.pair_reasons import with_reasons
    from harness.report.paired import Paired

    run = result.charger
    judged = run is not None and len(run.answers) > 0
    paired = Paired(
        scenario=scenario,
        specs=specs,
        charger_spec=charger_spec,
        result=result,
        verdicts=judged_packs(result, tolerance_s),
        charger_verdict=judge_charger(run, tolerance_s=tolerance_s)
        if run is not None and judged
        else None,
    )
    return with_reasons(paired)


def _crossed(paired: Paired, settings: ChargerSettings, limit_s: float) -> tuple[Crossed, ...]:
    """The same with the reference on one side and on both, as far as that is something else."""
    from harness.attach import LinkFault
    from harness.report.paired import Crossed
    from harness.world.filled import fillings

    sides = [(False, False)]
    if paired.own_controllers and paired.own_charger:
        sides += [(True, False), (False, True)]
    elif not (paired.own_controllers or paired.own_charger):
        return ()
    found: list[Crossed] = []
    for own_controllers, own_charger in sides:
        specs = paired.specs if own_controllers else (REFERENCE,) * len(paired.specs)
        charger_spec = paired.charger_spec if own_charger else REFERENCE
        try:
            result = _run(paired.scenario, specs, charger_spec, settings, limit_s)
        except LinkFault as fault:
            found.append(Crossed(own_controllers, own_charger, (), str(fault)))
            continue
        stopped = "" if result.stop is None else result.stop.reason
        found.append(Crossed(own_controllers, own_charger, fillings(result), stopped))
        # The reference pair comes first: where it fails, nobody can be blamed for it.
        if not found[0].fills_all:
            break
    return tuple(found)
