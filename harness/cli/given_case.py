"""The one case that `replay` is given: a vector by its id, or a trace in a file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import attrs

from ctrl.settings import Settings
from harness.cases import rendered_for, shipped
from harness.cases.trace_file import read
from harness.cases.vector import Vector, read_vector
from harness.cli.named import named
from harness.cli.settings_options import given_settings, is_given
from harness.errors import InputError
from harness.json_file import load_json
from harness.run import Case, Identity
from harness.text_file import first_character

DEFAULT_SOC = 0.5


def given_case(
    name: str,
    identity: Identity,
    *,
    settings_file: str | None,
    cells: int | None,
    changes: tuple[str, ...],
    chemistry: str | None = None,
    soc: float | None,
) -> tuple[Case, str]:
    """The case, and what it is called for people.

    Args:
        name: id of a vector, or path of a trace.
        identity: who will run it; a controller with fixed settings gets the case in those.
        settings_file: as in `given_settings`.
        cells: as in `given_settings`.
        changes: as in `given_settings`.
        chemistry: as in `given_settings`.
        soc: starting state of charge, 0..1; None for the vector's own, or one half.

    Raises:
        InputError: there is no such vector or file, it cannot be read, or it cannot be run with
            these settings.
    """
    options = (settings_file, cells, changes, chemistry)
    refuse_options_of_fixed(identity, is_given(*options))
    path = Path(name)
    if not path.exists():
        refuse_no_file(path)
        found = _shipped(name, identity)
    elif is_vector(path):
        found = read_vector(path)
    else:
        settings = identity.fixed or given_settings(*options)
        start = DEFAULT_SOC if soc is None else soc
        return Case(id=name, settings=settings, trace=read(path), soc=start), name
    return _case(found, options, soc), f"{found.id}: {found.title}"


def _shipped(name: str, identity: Identity) -> Vector:
    found: Vector = named(name, shipped(), kind="file and no vector")
    if identity.fixed is None:
        return found
    rendered: Vector = for_fixed(name, identity, *rendered_for(identity.fixed))
    return rendered


def for_fixed(
    name: str, identity: Identity, rendered: Iterable[Any], not_applicable: Mapping[str, str]
) -> Any:
    """The one of the vectors, rendered for fixed settings, that has this id.

    Raises:
        InputError: it cannot be written for these settings; with the reason.
    """
    if name in not_applicable:
        raise InputError(
            f"the vector {name} cannot be written for the fixed settings of {identity.name}",
            hint=not_applicable[name],
        )
    return next(each for each in rendered if each.id == name)


def refuse_options_of_fixed(identity: Identity, given: bool) -> None:
    """Refuse options of settings where they cannot be set; raises `InputError`."""
    if identity.fixed is not None and given:
        raise InputError(
            f"the settings of {identity.name} are fixed", hint="leave out the options that set them"
        )


def refuse_no_file(path: Path) -> None:
    """Refuse what was meant to be a file, and is none; raises `InputError`."""
    if path.suffix.lower() in (".csv", ".json"):
        raise InputError("there is no such file", file=path, hint=f"seen from {Path.cwd()}")


def is_vector(path: Path) -> bool:
    """Whether a file holds a vector, and not a trace alone.

    Raises:
        InputError: it is a folder, or no JSON although it begins as such.
    """
    if path.is_dir():
        raise InputError("is a folder", file=path, hint="name one trace in it")
    if first_character(path) != b"{":
        return False
    content = load_json(path)
    return isinstance(content, dict) and "settings" in content


def _case(
    found: Vector,
    options: tuple[str | None, int | None, tuple[str, ...], str | None],
    soc: float | None,
) -> Case:
    case = found.case
    if not is_given(*options) and soc is None:
        return case
    settings: Settings = given_settings(*options, base=case.settings)
    # What the vector expects holds for its own settings and its own start only.
    return attrs.evolve(
        case, settings=settings, soc=case.soc if soc is None else soc, expected=None
    )
