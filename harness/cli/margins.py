"""`fullproof margins`: what keeps the settings of a pack apart, and what eats of it."""

from __future__ import annotations

from math import isfinite
from typing import Any

import click

from ctrl.advice import cautions
from ctrl.chemistry import profile
from harness.cli import exits
from harness.cli.outputs import for_people, refuse_unwritable, writing
from harness.cli.settings_options import chemistry_option, given_settings
from harness.errors import InputError

NOT_NEGATIVE = click.FloatRange(min=0)


@click.command()
@click.argument("settings_file", metavar="SETTINGS")
@chemistry_option
@click.option("--cells", type=click.IntRange(min=1), metavar="N", help="Cells in series.")
@click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="NAME=VALUE",
    help="Try another value of a setting; none switches one off. Can be repeated.",
)
@click.option(
    "--meter-error-v",
    "meter_error_v",
    type=NOT_NEGATIVE,
    metavar="V",
    default=0.1,
    show_default=True,
    help="How far the charger's and the pack's meters may differ, V.",
)
@click.option(
    "--meter-noise-v",
    "meter_noise_v",
    type=NOT_NEGATIVE,
    metavar="V",
    default=0.02,
    show_default=True,
    help="How far a reading may stray from the next, V.",
)
@click.option(
    "--wiring-ohm",
    "wiring_ohm",
    type=NOT_NEGATIVE,
    metavar="OHM",
    default=0.005,
    show_default=True,
    help="Conductors between charger and pack, both ways, ohm.",
)
@click.option(
    "--taper-a",
    "taper_a",
    type=NOT_NEGATIVE,
    metavar="A",
    help="Current at which the drop of the wiring counts, A. Default: taper_a of the settings, or a"
    " twentieth of the capacity.",
)
@click.option(
    "--interval-s",
    "interval_s",
    type=NOT_NEGATIVE,
    metavar="S",
    default=1.0,
    show_default=True,
    help="Distance of the samples, s.",
)
@click.option(
    "--rest-cell-v",
    "rest_cell_v",
    type=NOT_NEGATIVE,
    metavar="V",
    help="Voltage of a full cell at rest, V. Default: that of the chemistry, or of the one that the"
    " voltage of absorption looks like.",
)
@click.option(
    "--json",
    "json_file",
    metavar="FILE",
    help="Write margins and warnings as JSON; - is the standard output.",
)
def command(
    settings_file: str,
    chemistry: str | None,
    cells: int | None,
    changes: tuple[str, ...],
    json_file: str | None,
    **installation: Any,
) -> int:
    """Show the margins of the settings in SETTINGS (TOML or JSON), and what eats of them.

    Each pair of settings that must be apart is told with the distance, with what meters, wiring,
    noise and sampling use up of it, and with what is left.

    Ends with 0 when every margin is enough, with 1 when there are warnings, with 2 when the
    settings are not allowed or an option is wrong.
    """
    refuse_unwritable(json_file)
    for name, value in installation.items():
        if value is not None and not isfinite(value):
            raise InputError(f"{name} is {value!r}", hint="a number, 0 or greater")
    settings = given_settings(settings_file, cells, changes, chemistry)
    if chemistry is not None and installation["rest_cell_v"] is None:
        installation["rest_cell_v"] = profile(chemistry).rest_v
    from harness.report.margins import Installation, margins_of
    from harness.report.margins_json import margins_json
    from harness.report.margins_terminal import margins_text

    found = margins_of(settings, Installation(**installation))
    people = for_people(json_file)
    click.echo(margins_text(found, settings_file), file=people, nl=False)
    code = exits.DOES_NOT_CONFORM if found.advice else exits.CONFORMS
    if json_file:
        with writing(json_file) as opened:
            opened.write(margins_json(found, settings_file, " ".join(cautions(settings)), code))
    return code
