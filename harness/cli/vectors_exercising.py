"""Which vectors exercise a requirement, for the commands that take only some of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click

from ctrl.errors import nearest
from harness.errors import InputError

requirements_option = click.option(
    "--requirement",
    "requirements",
    multiple=True,
    metavar="ID",
    help="Only vectors that exercise this requirement. Can be repeated.",
)


def exercising(vectors: Sequence[Any], role: str, requirements: Sequence[str]) -> list[Any]:
    """The vectors that exercise any of some requirements; all of them where none is named.

    Args:
        vectors: those of the role.
        role: `controller` or `charger`.
        requirements: ids.

    Raises:
        InputError: an id that does not exist.
    """
    from harness.report.catalogue import catalogue_of

    known = [each.id for each in catalogue_of(role)]
    for name in requirements:
        if name not in known:
            raise InputError(f"there is no requirement {name!r}", hint=nearest(name, known))
    return [
        each
        for each in vectors
        if not requirements or any(name in each.requirements for name in requirements)
    ]
