"""`fullproof simulate`: a scenario in closed loop with any controllers."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

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
from harness.report.words import count

if TYPE_CHECKING:
    from harness.world.result import Result
    from harness.world.scenario import Scenario


@click.command()
@click.argument("scenario", required=False)
@click.option(
    "--controller",
    "controllers",
    multiple=True,
    metavar="[PACK=]SPEC",
    help="The controller of every pack, or of one (by name, or number from 1). Can be repeated.",
)
@click.option("--list", "list_them", is_flag=True, help="Name the shipped scenarios.")
@click.option("--plot", "plot_file", metavar="FILE", help="Draw the run: a .png or a .svg.")
@click.option("--csv", "csv_folder", metavar="FOLDER", help="Write readings and true values.")
@click.option("--json", "json_file", metavar="FILE", help="Write what came of it; - is stdout.")
@click.option("--save-vector", "vector_file", metavar="FILE", help="Keep each trace as a vector.")
@click.option("--save-scenario", "scenario_file", metavar="FILE", help="Write it, as run, as TOML.")
@click.option("--until", "hours", type=Finite(0, min_open=True), metavar="HOURS", help="Stop then.")
@click.option("--seed", type=click.IntRange(min=0), metavar="N", help="Other random numbers.")
@tolerance_option
@limit_option
def command(
    scenario: str | None,
    controllers: tuple[str, ...],
    list_them: bool,
    plot_file: str | None,
    csv_folder: str | None,
    json_file: str | None,
    vector_file: str | None,
    scenario_file: str | None,
    hours: float | None,
    seed: int | None,
    tolerance_s: float,
    limit_s: float,
) -> int:
    """Run SCENARIO, a shipped one or a TOML file, with the reference or other controllers.

    Exit code 1 says that a controller broke a requirement, or that an expectation of the scenario
    was not met; 3, that the physics could not go on.
    """
    from harness.attach import LinkFault
    from harness.report.console import console_for
    from harness.report.findings import show_findings

    if list_them or scenario is None:
        return _list_scenarios()
    refuse_unwritable(json_file, plot_file, vector_file, scenario_file)
    refuse_unwritable_folder(csv_folder)
    if plot_file:
        refuse_unpaintable(plot_file)
    asked, cut = given_run(scenario, hours=hours, seed=seed)
    specs = controller_specs(controllers, [branch.name for branch in asked.world.packs])
    console = console_for(for_people(json_file))
    if scenario_file:
        from harness.world.scenario_file import to_toml

        with writing(scenario_file) as file:
            file.write(to_toml(asked))

    # Here, so that a mistake in the file is told before anything slow is loaded.
    from harness.report.simulated import Simulated, show
    from harness.report.simulated_files import to_json, write_csv, write_vectors
    from harness.world.expectation import observed

    try:
        result = _simulated(asked, specs, limit_s)
    except LinkFault as fault:
        show_findings(console, fault.requirement, [fault.finding(asked.name)], most=1)
        return exits.DOES_NOT_CONFORM
    not_observed = ""
    if cut or result.stop is not None:
        why = "the run ended early" if result.stop is not None else "--until cut the run short"
        not_observed = f"The expectations of the scenario were not looked at: {why}."
    simulated = Simulated(
        scenario=asked,
        specs=specs,
        result=result,
        verdicts=judged_packs(result, tolerance_s),
        observed=() if not_observed else observed(result, asked.expectations),
        not_observed=not_observed if asked.expectations else "",
    )
    show(console, simulated)
    code = exits.CONFORMS
    if simulated.findings or simulated.unmet:
        code = exits.DOES_NOT_CONFORM
    elif simulated.failed_physics:
        code = exits.NOT_JUDGED
    if json_file:
        with writing(json_file) as file:
            file.write(to_json(simulated, code))
    written = write_csv(result, Path(csv_folder)) if csv_folder else []
    if vector_file:
        written += write_vectors(simulated, Path(vector_file))
    if plot_file:
        from harness.report.picture import draw

        draw(simulated, Path(plot_file))
        written.append(Path(plot_file))
    tell_written(written)
    return code


def _list_scenarios() -> int:
    from harness.world.scenario import shipped, shipped_names

    width = max(map(len, shipped_names()))
    for name in shipped_names():
        click.echo(f"{name:<{width}}  {shipped(name).title}")
    click.echo(count(len(shipped_names()), "scenario"), err=True)
    return exits.CONFORMS


def _simulated(scenario: Scenario, specs: Sequence[str], limit_s: float) -> Result:
    """Run it: compiled where every pack has the same reference; raises `LinkFault`."""
    from harness.attach import attach
    from harness.world.loop import simulate

    with ExitStack() as stack, told_progress(scenario) as progress:
        attachments = [stack.enter_context(attach(spec, limit_s=limit_s)) for spec in specs]
        kind, _, name = specs[0].partition(":")
        if len(set(specs)) == 1 and kind == REFERENCE:
            from ctrl.resets import RESET_RULES, VOLTAGE_AFTER_HOLD

            rule = RESET_RULES.get(name) if name else VOLTAGE_AFTER_HOLD
            if rule is not None:
                from harness.world.fast import simulate_compiled

                return simulate_compiled(scenario.world, rule=rule, progress=progress)
        return simulate(scenario.world, attachments, progress=progress)
