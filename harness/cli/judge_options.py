"""The options of every command that attaches a controller and judges what it answers."""

from __future__ import annotations

import math
from typing import Any

import click

from harness.role import CONTROLLER, ROLES

LIMIT_S = 10.0


class Finite(click.FloatRange):
    """A number in a range; click lets NaN through."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The number; fails where it is none, or not finite."""
        number = super().convert(value, param, ctx)
        if not math.isfinite(number):
            self.fail(f"{value} is not a finite number.", param, ctx)
        return number


role_option = click.option(
    "--role",
    type=click.Choice(ROLES),
    default=CONTROLLER,
    show_default=True,
    help="What is under test: the controller of a pack, or what charges by its messages.",
)
limit_option = click.option(
    "--limit-s",
    type=Finite(0, min_open=True),
    default=LIMIT_S,
    show_default=True,
    metavar="SECONDS",
    help="The longest wait for one answer of the controller.",
)
findings_option = click.option(
    "--findings",
    "findings_each",
    type=click.IntRange(min=1),
    default=3,
    show_default=True,
    metavar="N",
    help="How many findings about one requirement are told in full.",
)
tolerance_option = click.option(
    "--tolerance-s",
    type=Finite(0),
    default=0.0,
    show_default=True,
    metavar="SECONDS",
    help="Declared tolerance of the controller's clock.",
)
