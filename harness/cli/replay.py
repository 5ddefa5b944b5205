"""`fullproof replay`: what one controller or charger does with one trace, as a timeline."""

from __future__ import annotations

from typing import Any

import click

from harness.cli import exits
from harness.cli.judge_options import Finite, limit_option, role_option, tolerance_option
from harness.cli.outputs import for_people, refuse_unwritable, writing
from harness.cli.settings_options import settings_options


@click.command()
@click.argument("controller")
@click.argument("trace")
@role_option
@settings_options
@click.option(
    "--soc",
    type=Finite(0, 1),
    metavar="FRACTION",
    help="Starting state of charge, 0 to 1; the vector's own, or 0.5.",
)
@click.option("--rows", is_flag=True, help="Print every sample and its answer as well.")
@click.option("--csv", "csv_file", metavar="FILE", help="Write samples and answers; - is stdout.")
@click.option("--json", "json_file", metavar="FILE", help="Write the timeline; - is stdout.")
@tolerance_option
@limit_option
def command(
    controller: str,
    trace: str,
    role: str,
    soc: float | None,
    rows: bool,
    csv_file: str | None,
    json_file: str | None,
    tolerance_s: float,
    limit_s: float,
    **settings: Any,
) -> int:
    """Show what CONTROLLER does with TRACE, and which requirements it breaks there.

    TRACE is a CSV with the columns t, v, i (and cell_max_v, temp_c, temp_max_c where there are
    any), a Battery Data Format CSV, the JSON of a vector, or the id of a shipped vector such as
    hold/sag-runs-on.

    With --role charger CONTROLLER is a charger. TRACE then is a CSV with the columns t, own_v, own_a
    and, for each pack, request_v_1, request_a_1, pack_v_1, pack_a_1, stage_1, age_s_1, the JSON of a
    vector, or the id of a shipped vector such as sense/thin-cable.
    """
    from harness.attach import LinkFault
    from harness.cli.replay_side import replay_side_of
    from harness.report.console import console_for
    from harness.report.findings import show_findings
    from harness.report.rows import write_columns, write_csv

    refuse_unwritable(csv_file, json_file)
    console = console_for(for_people(csv_file, json_file))
    side = replay_side_of(role)
    with side.attach(controller, limit_s=limit_s) as attachment:
        try:
            case, called = side.given_case(trace, attachment.hello(), soc=soc, **settings)
            run = side.drive(attachment, case)
        except LinkFault as fault:
            show_findings(console, fault.requirement, [fault.finding(trace)], most=1)
            return exits.DOES_NOT_CONFORM
    result = side.told(controller, called, run, tolerance_s)
    if rows:
        write_columns(run, console.file)
        console.print()
    side.show(console, result)
    if csv_file:
        with writing(csv_file) as file:
            write_csv(run, file)
    if json_file:
        with writing(json_file) as file:
            file.write(side.to_json(result))
    return exits.DOES_NOT_CONFORM if result.verdict.findings else exits.CONFORMS
