"""Reads study files; every error names the field, what was there, and what would be right."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import attrs
import orjson
from attrs import field, frozen

from ctrl.errors import nearest
from ctrl.settings_text import NONE
from harness.errors import InputError
from harness.study.population import Entry, entry_of
from harness.study.study import Study
from harness.toml_file import read_toml
from harness.toml_place import line_of
from harness.world import scenario
from harness.world.scenario_file import origin, spread_over_packs, structured
from harness.world.tables import ScenarioTable

FOLDER = Path(__file__).parent / "studies"
SUFFIX = ".toml"
_EXAMPLE = 'rules = ["voltage_after_hold", "taper"]'


@frozen(kw_only=True)
class StudyTable:
    """What a study file says beside its scenario, grid and population.

    Attributes:
        title: what it asks, in a few words.
        shows: what there is to learn from it.
        source: where its numbers come from.
        rules: reset rules: names, or `py:file.py:NAME` for one of your own.
        policies: bank policies: `every`, `lead`, `any`.
        banks: how many banks.
        days: how many days each is run.
        seed: of everything that is drawn.
        false_full_below_soc: a full reset below this true SoC is false.
        truly_full_soc: a pack with this true SoC is full.
    """

    title: str
    shows: str = ""
    source: str = ""
    rules: tuple[str, ...]
    policies: tuple[str, ...] = ("every",)
    banks: int
    days: int
    seed: int = 0
    false_full_below_soc: float = field(default=0.97)
    truly_full_soc: float = field(default=0.99)


def shipped_names() -> tuple[str, ...]:
    """The names of the shipped studies."""
    return tuple(sorted(path.stem for path in FOLDER.glob(f"*{SUFFIX}")))


def named(name: str, **changes: int | None) -> Study:
    """A shipped study by its name, or one in a file.

    Args:
        name: its name or path.
        changes: other `banks`, `days` or `seed`; None leaves what the file says.

    Raises:
        InputError: there is none, or it cannot be; with file and field.
    """
    path = Path(name)
    if name in shipped_names():
        path = FOLDER / f"{name}{SUFFIX}"
    elif path.is_dir():
        raise InputError("is a folder", file=path, hint="name one study in it")
    elif not path.exists() and path.suffix != SUFFIX:
        raise InputError(
            f"there is no file and no study {name!r}", hint=nearest(name, shipped_names())
        )
    return read(path, **changes)


def read(path: Path, **changes: int | None) -> Study:
    """Read a study; it is called what its file is called.

    Args:
        path: the file.
        changes: as of `named`.

    Raises:
        InputError: the file cannot be read, or describes no study that can be run; with the field.
    """
    content = read_toml(path, _EXAMPLE)
    content |= {name: value for name, value in changes.items() if value is not None}
    try:
        content["scenario"] = _scenario_content(content.get("scenario"), path.parent)
        study = study_of(content, path.stem, path.parent.resolve())
        study.refuse_impossible()
    except InputError as error:
        if error.file:
            raise
        line = line_of(path.read_text(encoding="utf-8-sig"), error.column)
        raise InputError(
            error.message, file=path, line=line, column=error.column, hint=error.hint
        ) from None
    return study


def study_of(content: dict[str, Any], name: str, folder: Path) -> Study:
    """The study that the content of a file describes, its scenario put in as a table.

    Args:
        content: the file.
        name: what the study is called.
        folder: what relative paths are seen from.

    Raises:
        InputError: it describes none; `column` is the field.
    """
    rest = dict(content)
    given = rest.pop("scenario")
    try:
        tables = structured(spread_over_packs(given), ScenarioTable)
    except InputError as error:
        column = f"scenario.{origin(error.column, given)}"
        raise InputError(error.message, column=column, hint=error.hint) from None
    grid = _grid(rest.pop("grid", {}))
    population = _population(rest.pop("population", []))
    told = structured(rest, StudyTable)
    own = {a.name: getattr(told, a.name) for a in attrs.fields(StudyTable)}
    try:
        text = orjson.dumps({"name": name, **content}, option=orjson.OPT_SORT_KEYS).decode()
    except TypeError as error:
        hint = "whole numbers below 2**63, and texts"
        raise InputError(f"a value in it cannot be stored: {error}", hint=hint) from None
    return Study(
        name=name, scenario=tables, grid=grid, population=population, folder=folder,
        content=text, **own,
    )  # fmt: skip


def from_content(content: str, folder: Path) -> Study:
    """The study again from `Study.content`."""
    told = orjson.loads(content)
    return study_of(told, told.pop("name"), folder)


def _scenario_content(given: Any, folder: Path) -> dict[str, Any]:
    """The tables of the scenario: written in the study, in a file of their own, or shipped."""
    if isinstance(given, dict):
        return given
    if not isinstance(given, str) or not given:
        found = "it is missing" if given is None else f"there is {given!r:.60}"
        raise InputError(
            found, column="scenario", hint="the name of a scenario, a file, or [scenario] itself"
        )
    shipped = scenario.FOLDER / f"{given}{scenario.SUFFIX}"
    path = shipped if given in scenario.shipped_names() else folder / given
    if path.suffix != scenario.SUFFIX:
        raise InputError(
            f"there is no scenario {given!r}",
            column="scenario",
            hint=nearest(given, scenario.shipped_names()),
        )
    content = read_toml(path, "hours = 8")
    content.pop("expect", None)
    return content


def _grid(given: Any) -> tuple[tuple[str, tuple[Any, ...]], ...]:
    if not isinstance(given, dict):
        raise InputError(f"there is {given!r:.60}", column="grid", hint="a table: [grid]")
    for name, values in given.items():
        if not isinstance(values, list):
            raise InputError(
                f"there is {values!r:.60}", column=f"grid.{name}", hint="a list of values"
            )
    return tuple(
        (name, tuple(None if value == NONE else value for value in values))
        for name, values in given.items()
    )


def _population(given: Any) -> tuple[Entry, ...]:
    if not isinstance(given, list) or not all(isinstance(entry, dict) for entry in given):
        raise InputError(
            f"there is {given!r:.60}", column="population", hint="write [[population]] for each"
        )
    entries: list[Entry] = []
    for k, table in enumerate(given):
        try:
            entry = entry_of(table)
        except InputError as error:
            place = f"population[{k}]" + (f".{error.column}" if error.column else "")
            raise InputError(error.message, column=place, hint=error.hint) from None
        if any(entry.name == other.name for other in entries):
            raise InputError(
                f"{entry.name!r} is there twice", column=f"population[{k}]", hint="give it a name"
            )
        entries.append(entry)
    return tuple(entries)
